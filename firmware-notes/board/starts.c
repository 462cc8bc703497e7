#include "starts.h"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <stddef.h>
#include <util/crc16.h>

/* --- Why --- */

/* Not cleared with the other variables: it is set before those are. */
static uint8_t flags __attribute__((section(".noinit")));

/* After a reset by the watchdog it goes on running, at its shortest time: it must be stopped before
 * anything that takes long, and that goes only when its flag is cleared. */
void starts_early(void) __attribute__((naked, used, section(".init3")));
void starts_early(void)
{
    flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

static const char power[] PROGMEM = "power";
static const char brownout[] PROGMEM = "brownout";
static const char watchdog[] PROGMEM = "watchdog";
static const char external[] PROGMEM = "external";
static const char unknown[] PROGMEM = "unknown";

const char *starts_cause(void)
{
    /* When the supply rises slowly the brown-out flag is set besides that of power. */
    if (flags & _BV(PORF))
        return power;
    if (flags & _BV(BORF))
        return brownout;
    if (flags & _BV(WDRF))
        return watchdog;
    if (flags & _BV(EXTRF))
        return external;
    return unknown; /* some bootloaders clear the flags */
}

/* --- How many --- */

/* A cell lasts 100,000 writes. Going round 64 places makes that 6.4 million starts, and a place
 * whose writing was cut short leaves the one before it good. */
#define PLACES 64

struct place {
    uint16_t count;
    uint16_t check;
};

static struct place places[PLACES] EEMEM;

static uint16_t check_of(uint16_t count)
{
    /* Not 0xFFFF for 0xFFFF, as a new chip has it everywhere. */
    return _crc_xmodem_update(_crc_xmodem_update(0x5A5A, count >> 8), count & 0xFF);
}

static bool read(uint8_t number, uint16_t *count)
{
    struct place place;
    eeprom_read_block(&place, &places[number], sizeof place);
    *count = place.count;
    return place.count && place.check == check_of(place.count);
}

uint16_t starts_count(void)
{
    uint16_t newest = 0;
    uint8_t at = PLACES - 1;
    for (uint8_t number = 0; number < PLACES; number++) {
        uint16_t count;
        /* All are within 64 of one another, so the difference says which is later, also where 1
         * follows 65535. */
        if (read(number, &count) && (!newest || (int16_t)(count - newest) > 0)) {
            newest = count;
            at = number;
        }
    }
    uint16_t count = newest == UINT16_MAX ? 1 : newest + 1;
    struct place place = {count, check_of(count)};
    for (uint8_t tries = 0; tries < 4; tries++) {
        at = (at + 1) % PLACES;
        eeprom_update_block(&place, &places[at], sizeof place);
        uint16_t written;
        if (read(at, &written) && written == count)
            return count;
    }
    return 0;
}
