/* Starts: why this one happened, and how many there were, kept through power cuts. */

#ifndef STARTS_H
#define STARTS_H

#include <stdint.h>

/* In program memory; one of the words of the protocol. */
const char *starts_cause(void);

/* Count this start. 1 to 65535, or 0 if the memory for it does not hold what is written. Takes some
 * milliseconds: let the interrupts run. */
uint16_t starts_count(void);

#endif
