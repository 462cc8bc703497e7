#include "valve.h"

#include <stdint.h>

#include "pins.h"

static bool open;
static uint8_t differs_ms;

void valve_tick(void)
{
    if ((PIN_IS_HIGH(VALVE_PIN) == VALVE_OPEN_AT) == open) {
        differs_ms = 0;
    } else if (++differs_ms >= VALVE_REST_MS) {
        open = !open;
        differs_ms = 0;
    }
}

bool valve_is_open(void)
{
    return open;
}
