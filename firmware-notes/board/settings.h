/* Everything that a user may want to change: what is fitted, on which pins, and the numbers. */

#ifndef SETTINGS_H
#define SETTINGS_H

/* --- Names, as the board gives them to flowlog: 1 to 16 of A-Z a-z 0-9 . _ - --- */

#define BOARD_NAME "board-1"
#define FIRMWARE_NAME "board-c-1.0"

/* --- What is fitted: 1 or 0 (the flow sensor always is) --- */

#ifndef GAUGE_FITTED
#define GAUGE_FITTED 1
#endif
#ifndef VALVE_FITTED
#define VALVE_FITTED 1
#endif
#ifndef WHEEL_FITTED
#define WHEEL_FITTED 0
#endif

/* --- Pins: port letter, bit --- */

/* These two are where the chip has its hardware for them. They cannot be moved. */
#define METER_PIN B, 0 /* input capture */
#define WHEEL_PIN D, 2 /* external interrupt 0 */

#define GAUGE_CHANNEL 0 /* analog input 0 to 5: port C, the same bit */
#define VALVE_PIN D, 4
#define LAMP_PIN B, 5
#define BUZZER_PIN D, 6

/* --- Levels: 1 or 0 --- */

#define METER_COUNTS_AT 0 /* the level that a pulse goes to: 0 for a falling edge */
#define WHEEL_COUNTS_AT 0
#define VALVE_OPEN_AT 1
#define LAMP_ON_AT 1
#define BUZZER_ON_AT 1

/* --- Pulses --- */

/* A pulse counts when its line has rested at the new level for so long. Anything shorter is bounce
 * or noise. Above 1 / (2 x this) nothing counts: 100 us lets 5,000 pulses a second through. Not
 * less than 100: interrupts wait up to 70 us for one another. */
#define METER_REST_US 100
/* A reed contact bounces for some milliseconds; 2 ms let 250 pulses a second through. */
#define WHEEL_REST_US 2000

/* With more changes than this in a millisecond a pulse input is left alone for the rest of it, so
 * that noise cannot keep the processor from everything else. */
#define HIGHEST_CHANGES_PER_MS 50

/* The valve's input counts as changed when it has been the same for so long. */
#define VALVE_REST_MS 20

/* --- Line to the computer --- */

#define BAUD 115200
#define PERIOD_MS 100        /* time between two samples, 10 to 500 */
#define HELLO_EVERY_S 30     /* once a minute is asked for: one may get lost */
#define ALARM_FORGOTTEN_S 90 /* lamp and buzzer go off so long after the computer's last word */

#endif
