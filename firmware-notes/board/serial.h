/* The serial line, both ways through buffers that interrupts fill and empty: nobody waits. */

#ifndef SERIAL_H
#define SERIAL_H

#include <stdbool.h>
#include <stdint.h>

void serial_start(void);

/* Send a text as a whole. False, and nothing is sent, if it does not fit now. */
bool serial_send(const char *text, uint8_t length);

/* A byte that has come, or -1. One that was damaged on the way is 0, which no line contains. */
int16_t serial_take(void);

#endif
