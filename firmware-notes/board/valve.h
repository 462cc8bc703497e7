/* The boom valve's input. */

#ifndef VALVE_H
#define VALVE_H

#include <stdbool.h>

/* Once a millisecond. */
void valve_tick(void);

bool valve_is_open(void);

#endif
