#include "samples.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"
#include "settings.h"
#include "valve.h"

#if PERIOD_MS < 10 || PERIOD_MS > 500
#error "PERIOD_MS: 10 to 500. The watchdog expects a sample in less than a second"
#endif

static volatile uint32_t ms;
static volatile uint32_t next_seq;
static volatile bool waiting;
static struct sample closed;
static uint16_t ticks;

void samples_start(void)
{
    /* Timer 0 counts 16 MHz / 64 to 250: exactly a millisecond. */
    TCCR0A = _BV(WGM01);
    OCR0A = 249;
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00);
}

static inline void close(void)
{
    closed.seq = next_seq++;
    closed.clock_us = clock_now();
    closed.meter = meter_pulses();
    closed.gauge = gauge_take();
    closed.valve_open = valve_is_open();
    closed.wheel = wheel_pulses();
    waiting = true;
}

ISR(TIMER0_COMPA_vect)
{
    ms++;
    pulses_tick();
    valve_tick();
    if (++ticks == PERIOD_MS) {
        ticks = 0;
        close();
    }
    gauge_tick();
}

bool samples_take(struct sample *sample)
{
    bool found;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        found = waiting;
        if (found)
            *sample = closed;
        waiting = false;
    }
    return found;
}

uint32_t samples_next_seq(void)
{
    uint32_t seq;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        /* One that waits has its number but is not said yet. */
        seq = waiting ? closed.seq : next_seq;
    }
    return seq;
}

uint32_t samples_ms(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now = ms;
    }
    return now;
}
