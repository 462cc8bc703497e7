/* Pulse inputs: the flow sensor and, if fitted, the wheel. */

#ifndef PULSES_H
#define PULSES_H

#include <stdint.h>

struct pulses {
    uint32_t count;
    uint32_t edge_us; /* clock at the last counted edge, 0 before the first */
};

void pulses_start(void);

/* Once a millisecond. Interrupts must be off. */
void pulses_tick(void);

/* What was counted up to now. Interrupts must be off. */
struct pulses meter_pulses(void);
struct pulses wheel_pulses(void);

#endif
