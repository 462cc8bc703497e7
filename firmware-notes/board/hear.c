#include "hear.h"

#include "alarm.h"
#include "lines.h"
#include "serial.h"

static struct line line;
static bool too_long;

static bool is_pattern(char character)
{
    return character >= '0' && character <= '3';
}

/* Fields behind those that we know are a newer computer's: not ours to judge. */
static bool ends_or_goes_on(uint8_t at)
{
    return line.length == at || (line.length > at && line.text[at] == ',');
}

static bool obey(void)
{
    const char *text = line.text;
    if (!line_check(&line) || !line.length)
        return false;
    if (text[0] == 'Q')
        return ends_or_goes_on(1);
    if (text[0] == 'A' && line.length >= 5 && text[1] == ',' && is_pattern(text[2]) &&
        text[3] == ',' && is_pattern(text[4]) && ends_or_goes_on(5))
        alarm_show(text[2] - '0', text[4] - '0');
    return false;
}

bool hear(void)
{
    bool hello = false;
    for (int16_t byte; (byte = serial_take()) >= 0;) {
        if (byte == '\n') {
            hello |= !too_long && obey();
            line.length = 0;
            too_long = false;
        } else if (line.length < LONGEST_LINE - 1) {
            line.text[line.length++] = byte;
        } else {
            too_long = true;
        }
    }
    return hello;
}
