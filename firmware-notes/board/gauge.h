/* The gauge: the analog input read once a millisecond, four figures a sample. */

#ifndef GAUGE_H
#define GAUGE_H

#include <stdint.h>

struct gauge {
    uint32_t sum;
    uint16_t n;
    uint16_t min;
    uint16_t max;
};

void gauge_start(void);

/* Once a millisecond. */
void gauge_tick(void);

/* The readings since the last call. Interrupts must be off. */
struct gauge gauge_take(void);

#endif
