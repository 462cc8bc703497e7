/* The board of flowlog: counts pulses, reads the gauge, and says so. The protocol is in
 * ../protocol.md, what a user changes in settings.h. */

#include <avr/interrupt.h>
#include <avr/power.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "alarm.h"
#include "clock.h"
#include "gauge.h"
#include "hear.h"
#include "pins.h"
#include "pulses.h"
#include "samples.h"
#include "say.h"
#include "serial.h"
#include "starts.h"

static void pins_start(void)
{
    alarm_start();
    /* No input floats, used or not. For the sensors this is a second line: each wants a pull-up of
     * its own (wiring.md). */
    PORTB |= (uint8_t)~DDRB;
    PORTC |= (uint8_t)~DDRC;
    PORTD |= (uint8_t)~DDRD;
}

int main(void)
{
    pins_start();
    power_spi_disable();
    power_twi_disable();
    power_timer2_disable();
    clock_start();
    pulses_start();
    gauge_start();
    serial_start();
    samples_start();
    wdt_enable(WDTO_1S);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();

    const char *cause = starts_cause();
    uint16_t boot = starts_count();
    /* The start may have come in the middle of a line: end it, or it swallows the hello. */
    serial_send("\n", 1);
    bool hello = true;
    uint32_t hello_ms = 0;
    for (;;) {
        hello |= hear();
        if (samples_ms() - hello_ms >= HELLO_EVERY_S * 1000UL)
            hello = true;
        if (hello && say_hello(boot, cause)) {
            hello = false;
            hello_ms = samples_ms();
        }
        struct sample sample;
        /* The watchdog is content when the whole way works: timer, readings, this loop, line. */
        if (samples_take(&sample) && sample.gauge.n && say_sample(boot, &sample))
            wdt_reset();
        alarm_update();
        sleep_mode(); /* until any interrupt, a millisecond at most */
    }
}
