#include "alarm.h"

#include <stdbool.h>

#include "pins.h"
#include "samples.h"

enum { OFF, SLOW, FAST, STEADY };

static uint8_t lamp, buzzer;
static uint32_t told_ms; /* when the computer last said anything of it */
static uint32_t began_ms;

static bool is_on(uint8_t pattern, uint32_t since_ms)
{
    switch (pattern) {
    case SLOW:
        return !(since_ms & 512);
    case FAST:
        return !(since_ms & 128);
    case STEADY:
        return true;
    default:
        return false;
    }
}

static void drive(bool lamp_on, bool buzzer_on)
{
    if (lamp_on == LAMP_ON_AT)
        PIN_SET(LAMP_PIN);
    else
        PIN_CLEAR(LAMP_PIN);
    if (buzzer_on == BUZZER_ON_AT)
        PIN_SET(BUZZER_PIN);
    else
        PIN_CLEAR(BUZZER_PIN);
}

void alarm_start(void)
{
    drive(false, false);
    PIN_MAKE_OUTPUT(LAMP_PIN);
    PIN_MAKE_OUTPUT(BUZZER_PIN);
}

void alarm_show(uint8_t new_lamp, uint8_t new_buzzer)
{
    told_ms = samples_ms();
    /* The same again must not upset the rhythm. */
    if (new_lamp != lamp || new_buzzer != buzzer)
        began_ms = told_ms;
    lamp = new_lamp;
    buzzer = new_buzzer;
}

void alarm_update(void)
{
    uint32_t now_ms = samples_ms();
    if (now_ms - told_ms >= ALARM_FORGOTTEN_S * 1000UL)
        lamp = buzzer = OFF; /* nobody is there any more who could say that it is over */
    drive(is_on(lamp, now_ms - began_ms), is_on(buzzer, now_ms - began_ms));
}
