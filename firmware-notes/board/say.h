/* What the board says: samples and hellos. False if the line to the computer has no room now. */

#ifndef SAY_H
#define SAY_H

#include <stdbool.h>
#include <stdint.h>

#include "samples.h"

bool say_sample(uint16_t boot, const struct sample *sample);
bool say_hello(uint16_t boot, const char *reset_cause);

#endif
