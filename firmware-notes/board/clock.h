/* The clock: microseconds since the start, 32 bits, from a timer of 16. */

#ifndef CLOCK_H
#define CLOCK_H

#include <avr/io.h>
#include <stdint.h>

#if F_CPU != 16000000UL
#error "The clock is written for 16 MHz: two counts of timer 1 are a microsecond"
#endif

/* Calls cost an interrupt more than its work does: all registers are saved for them. */
#define INLINED static inline __attribute__((always_inline))

extern volatile uint32_t clock_overflows;

void clock_start(void);

/* The time at which timer 1 stood at `count`, at most 16 ms ago. Interrupts must be off.
 *
 * An overflow whose interrupt still waits belongs to a small count only: a large one was read
 * before the timer went round. */
INLINED uint32_t clock_at(uint16_t count)
{
    uint32_t overflows = clock_overflows;
    if ((TIFR1 & _BV(TOV1)) && count < 0x8000)
        overflows++;
    return (overflows << 15) | (count >> 1);
}

/* Interrupts must be off. Count before flag: the other way round an overflow between the two reads
 * would set the clock back by 33 ms. */
INLINED uint32_t clock_now(void)
{
    uint16_t count = TCNT1;
    return clock_at(count);
}

#endif
