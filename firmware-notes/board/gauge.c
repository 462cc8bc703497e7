#include "gauge.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "settings.h"

#if GAUGE_FITTED

static struct gauge readings = {.min = UINT16_MAX};

void gauge_start(void)
{
    /* Reference is the board's 5 V, which feeds the gauge as well: then the supply cancels. */
    ADMUX = _BV(REFS0) | GAUGE_CHANNEL;
    DIDR0 = _BV(GAUGE_CHANNEL);
    PORTC &= (uint8_t)~_BV(GAUGE_CHANNEL);
    /* 16 MHz / 128 = 125 kHz, within the 50 to 200 kHz of full resolution; 0.1 ms a reading. */
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
}

void gauge_tick(void)
{
    ADCSRA |= _BV(ADSC);
}

ISR(ADC_vect)
{
    uint16_t reading = ADC;
    readings.sum += reading;
    readings.n++;
    if (reading < readings.min)
        readings.min = reading;
    if (reading > readings.max)
        readings.max = reading;
}

struct gauge gauge_take(void)
{
    struct gauge taken = readings;
    readings = (struct gauge){.min = UINT16_MAX};
    return taken;
}

#else

void gauge_start(void) {}
void gauge_tick(void) {}

struct gauge gauge_take(void)
{
    return (struct gauge){.sum = 0, .n = 1, .min = 0, .max = 0};
}

#endif
