/* A pin of settings.h ("B, 5") as registers and bit. */

#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

#include "settings.h"

#define PIN_PORT_(letter, bit) PORT##letter
#define PIN_DIRECTION_(letter, bit) DDR##letter
#define PIN_INPUT_(letter, bit) PIN##letter
#define PIN_MASK_(letter, bit) _BV(bit)

/* Two steps, so that the pin's name is replaced by letter and bit first. */
#define PIN_PORT(...) PIN_PORT_(__VA_ARGS__)
#define PIN_DIRECTION(...) PIN_DIRECTION_(__VA_ARGS__)
#define PIN_INPUT(...) PIN_INPUT_(__VA_ARGS__)
#define PIN_MASK(...) PIN_MASK_(__VA_ARGS__)

#define PIN_IS_HIGH(...) ((PIN_INPUT(__VA_ARGS__) & PIN_MASK(__VA_ARGS__)) != 0)
#define PIN_SET(...) (PIN_PORT(__VA_ARGS__) |= PIN_MASK(__VA_ARGS__))
#define PIN_CLEAR(...) (PIN_PORT(__VA_ARGS__) &= (uint8_t)~PIN_MASK(__VA_ARGS__))
#define PIN_MAKE_OUTPUT(...) (PIN_DIRECTION(__VA_ARGS__) |= PIN_MASK(__VA_ARGS__))

#endif
