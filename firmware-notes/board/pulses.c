/* Each change of a pulse input interrupts. The meter's comes with its time, latched by the input
 * capture hardware at the very moment: whatever else the processor does cannot falsify it. A pulse
 * counts once its line has come to rest at the new level; its edge is the beginning of that rest.
 *
 * The rest must be longer than interrupts are ever kept waiting: 70 us, when a sample is closed. */

#include "pulses.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>

#include "clock.h"
#include "pins.h"

#if METER_REST_US < 100 || WHEEL_REST_US < 100
#error "METER_REST_US, WHEEL_REST_US: 100 or more"
#endif

struct input {
    struct pulses counted;
    uint32_t changed_us;
    bool resting; /* since a time longer than the input's rest */
    uint8_t level;
    uint8_t rested_at;
    uint8_t changes; /* in this millisecond */
};

static struct input meter;
#if WHEEL_FITTED
static struct input wheel;
#endif

INLINED void come_to_rest(struct input *input, uint8_t counts_at)
{
    input->resting = true;
    if (input->level == input->rested_at)
        return;
    input->rested_at = input->level;
    if (input->level == counts_at) {
        input->counted.count++;
        input->counted.edge_us = input->changed_us;
    }
}

INLINED void change(struct input *input, uint8_t level, uint32_t at_us, uint16_t rest_us,
                    uint8_t counts_at)
{
    if (!input->resting && at_us - input->changed_us >= rest_us)
        come_to_rest(input, counts_at);
    input->resting = false;
    input->changed_us = at_us;
    input->level = level;
    input->changes++;
}

INLINED void look(struct input *input, uint32_t now_us, uint16_t rest_us, uint8_t counts_at)
{
    if (!input->resting && now_us - input->changed_us >= rest_us)
        come_to_rest(input, counts_at);
}

INLINED void begin(struct input *input, uint8_t level, uint32_t now_us)
{
    input->level = level;
    input->changed_us = now_us;
    input->resting = false;
    input->changes = 0;
}

/* --- The meter --- */

INLINED void meter_wait_for_change_from(uint8_t level)
{
    if (level)
        TCCR1B &= (uint8_t)~_BV(ICES1);
    else
        TCCR1B |= _BV(ICES1);
    TIFR1 = _BV(ICF1); /* turning the edge round may look like one */
}

ISR(TIMER1_CAPT_vect)
{
    uint32_t at_us = clock_at(ICR1);
    uint8_t level = (TCCR1B & _BV(ICES1)) != 0;
    for (;;) {
        change(&meter, level, at_us, METER_REST_US, METER_COUNTS_AT);
        meter_wait_for_change_from(level);
        if (meter.changes > HIGHEST_CHANGES_PER_MS) {
            TIMSK1 &= (uint8_t)~_BV(ICIE1);
            return;
        }
        if (PIN_IS_HIGH(METER_PIN) == level)
            return;
        /* It changed back before the hardware could wait for it: a bounce, its exact time is of no
         * interest. */
        level = !level;
        at_us = clock_now();
    }
}

static void meter_begin(void)
{
    uint8_t level = PIN_IS_HIGH(METER_PIN);
    begin(&meter, level, clock_now());
    meter_wait_for_change_from(level);
    TIMSK1 |= _BV(ICIE1);
}

/* --- The wheel --- */

#if WHEEL_FITTED
ISR(INT0_vect)
{
    uint32_t now_us = clock_now();
    change(&wheel, PIN_IS_HIGH(WHEEL_PIN), now_us, WHEEL_REST_US, WHEEL_COUNTS_AT);
    if (wheel.changes > HIGHEST_CHANGES_PER_MS)
        EIMSK &= (uint8_t)~_BV(INT0);
}

static void wheel_begin(void)
{
    begin(&wheel, PIN_IS_HIGH(WHEEL_PIN), clock_now());
    EIFR = _BV(INTF0);
    EIMSK |= _BV(INT0);
}
#endif

/* --- Both --- */

void pulses_start(void)
{
    /* The level at the start is no edge. */
    TCCR1B |= _BV(ICNC1);
    meter_begin();
    meter.rested_at = meter.level;
#if WHEEL_FITTED
    EICRA = _BV(ISC00); /* any change */
    wheel_begin();
    wheel.rested_at = wheel.level;
#endif
}

void pulses_tick(void)
{
    meter.changes = 0;
    if (!(TIMSK1 & _BV(ICIE1)))
        meter_begin();
#if WHEEL_FITTED
    wheel.changes = 0;
    if (!(EIMSK & _BV(INT0)))
        wheel_begin();
#endif
    uint32_t now_us = clock_now();
    look(&meter, now_us, METER_REST_US, METER_COUNTS_AT);
#if WHEEL_FITTED
    look(&wheel, now_us, WHEEL_REST_US, WHEEL_COUNTS_AT);
#endif
}

struct pulses meter_pulses(void)
{
    return meter.counted;
}

struct pulses wheel_pulses(void)
{
#if WHEEL_FITTED
    return wheel.counted;
#else
    return (struct pulses){0, 0};
#endif
}
