/* The fuses, kept in the ELF so that `make fuses` can write them: 16 MHz crystal with the long
 * start, no bootloader, EEPROM kept when a new program is written, reset below 4.3 V. */

#include <avr/io.h>

/* Reset early: below the 4 V or so that 16 MHz need, EEPROM and program cannot be trusted. */
#define BROWN_OUT_AT_4V3 (FUSE_BODLEVEL0 & FUSE_BODLEVEL1)

FUSES = {
    .low = 0xFF,
    .high = FUSE_SPIEN & FUSE_EESAVE & FUSE_BOOTSZ0 & FUSE_BOOTSZ1,
    .extended = BROWN_OUT_AT_4V3,
};
