#include "clock.h"

#include <avr/interrupt.h>

/* Of 32,768 us each. It may wrap: the clock does so at the same moment. */
volatile uint32_t clock_overflows;

void clock_start(void)
{
    TCCR1A = 0;
    TCCR1B = _BV(CS11); /* 16 MHz / 8 */
    TCNT1 = 0;
    TIFR1 = _BV(TOV1);
    TIMSK1 |= _BV(TOIE1);
}

ISR(TIMER1_OVF_vect)
{
    clock_overflows++;
}
