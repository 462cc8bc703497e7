/* Lamp and buzzer: each 0 off, 1 slow (1 Hz), 2 fast (4 Hz), 3 steady. */

#ifndef ALARM_H
#define ALARM_H

#include <stdint.h>

void alarm_start(void);

/* The computer wants to see and hear this. */
void alarm_show(uint8_t lamp, uint8_t buzzer);

/* Now and then, at least every 10 ms. */
void alarm_update(void);

#endif
