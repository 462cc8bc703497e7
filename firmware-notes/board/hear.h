/* What the computer says: a request for the hello, and what lamp and buzzer should show. */

#ifndef HEAR_H
#define HEAR_H

#include <stdbool.h>

/* Take all that has come. True if a hello was asked for. */
bool hear(void);

#endif
