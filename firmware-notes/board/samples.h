/* Samples: closed by a timer every period, whatever the main loop is doing. */

#ifndef SAMPLES_H
#define SAMPLES_H

#include <stdbool.h>
#include <stdint.h>

#include "gauge.h"
#include "pulses.h"

struct sample {
    uint32_t seq;
    uint32_t clock_us;
    struct pulses meter;
    struct gauge gauge;
    bool valve_open;
    struct pulses wheel;
};

void samples_start(void);

/* The sample that was closed since the last call, if there is one. A closed sample that was not
 * taken in time is lost, and its number with it. */
bool samples_take(struct sample *sample);

/* Number of the next sample to be closed. */
uint32_t samples_next_seq(void);

/* Milliseconds since the start. */
uint32_t samples_ms(void);

#endif
