#include "say.h"

#include <avr/pgmspace.h>

#include "lines.h"
#include "serial.h"
#include "settings.h"

#define PROTOCOL 1
#define ADC_BITS 10

static const char firmware_name[] PROGMEM = FIRMWARE_NAME;
static const char board_name[] PROGMEM = BOARD_NAME;
static const char channels[] PROGMEM = {
    'F',
#if GAUGE_FITTED
    'P',
#endif
#if VALVE_FITTED
    'V',
#endif
#if WHEEL_FITTED
    'W',
#endif
    0,
};

_Static_assert(sizeof firmware_name <= 17, "FIRMWARE_NAME is longer than 16 letters");
_Static_assert(sizeof board_name <= 17, "BOARD_NAME is longer than 16 letters");

/* Not on the stack: its size would not show in the report of the build. */
static struct line line;

static bool send(void)
{
    line_end(&line);
    return serial_send(line.text, line.length);
}

bool say_sample(uint16_t boot, const struct sample *sample)
{
    line_begin(&line, 'S');
    line_number(&line, boot);
    line_number(&line, sample->seq);
    line_number(&line, sample->clock_us);
    line_number(&line, sample->meter.count);
    line_number(&line, sample->meter.edge_us);
    line_number(&line, sample->gauge.sum);
    line_number(&line, sample->gauge.n);
    line_number(&line, sample->gauge.min);
    line_number(&line, sample->gauge.max);
#if VALVE_FITTED
    line_number(&line, sample->valve_open);
#elif WHEEL_FITTED
    line_gap(&line);
#endif
#if WHEEL_FITTED
    line_number(&line, sample->wheel.count);
    line_number(&line, sample->wheel.edge_us);
#endif
    return send();
}

bool say_hello(uint16_t boot, const char *reset_cause)
{
    line_begin(&line, 'H');
    line_number(&line, boot);
    line_number(&line, samples_next_seq());
    line_number(&line, PROTOCOL);
    line_text(&line, firmware_name);
    line_text(&line, board_name);
    line_text(&line, reset_cause);
    line_number(&line, PERIOD_MS);
    line_number(&line, ADC_BITS);
    line_text(&line, channels);
    return send();
}
