#include "lines.h"

#include <avr/pgmspace.h>
#include <stdlib.h>
#include <util/crc16.h>

#define CHECKSUM_LENGTH 4

static void put(struct line *line, char character)
{
    /* The longest record is far shorter; this is for one that a change has made too long. */
    if (line->length < LONGEST_LINE)
        line->text[line->length++] = character;
}

static uint16_t checksum(const char *text, uint8_t length)
{
    uint16_t crc = 0xFFFF;
    while (length--)
        crc = _crc_xmodem_update(crc, *text++);
    return crc;
}

static char hex_digit(uint16_t crc, uint8_t place)
{
    uint8_t digit = (crc >> (4 * (CHECKSUM_LENGTH - 1 - place))) & 0xF;
    return digit < 10 ? '0' + digit : 'A' + digit - 10;
}

void line_begin(struct line *line, char type)
{
    line->length = 0;
    put(line, type);
}

void line_text(struct line *line, const char *text)
{
    put(line, ',');
    for (char character; (character = pgm_read_byte(text)); text++)
        put(line, character);
}

void line_number(struct line *line, uint32_t value)
{
    char digits[11];
    put(line, ',');
    ultoa(value, digits, 10);
    for (const char *digit = digits; *digit; digit++)
        put(line, *digit);
}

void line_gap(struct line *line)
{
    put(line, ',');
}

void line_end(struct line *line)
{
    uint16_t crc = checksum(line->text, line->length);
    put(line, '*');
    for (uint8_t place = 0; place < CHECKSUM_LENGTH; place++)
        put(line, hex_digit(crc, place));
    put(line, '\n');
}

bool line_check(struct line *line)
{
    if (line->length && line->text[line->length - 1] == '\r')
        line->length--;
    if (line->length < 1 + CHECKSUM_LENGTH)
        return false;
    uint8_t star = line->length - CHECKSUM_LENGTH - 1;
    if (line->text[star] != '*')
        return false;
    uint16_t crc = checksum(line->text, star);
    for (uint8_t place = 0; place < CHECKSUM_LENGTH; place++)
        if (line->text[star + 1 + place] != hex_digit(crc, place))
            return false;
    line->length = star;
    return true;
}
