/* A line of the protocol: text, star, checksum, line feed. */

#ifndef LINES_H
#define LINES_H

#include <stdbool.h>
#include <stdint.h>

#define LONGEST_LINE 160 /* its line feed included */

struct line {
    char text[LONGEST_LINE];
    uint8_t length;
};

void line_begin(struct line *line, char type);
void line_text(struct line *line, const char *text); /* in program memory */
void line_number(struct line *line, uint32_t value);
void line_gap(struct line *line); /* an empty field */
void line_end(struct line *line);

/* Whether a line without its line feed is whole; if so, cut it before the star. */
bool line_check(struct line *line);

#endif
