/* What a line asks for, read by a recogniser of its own: it shares nothing with the firmware's
 * parser, knows only the commands that can close, supply, pull or clear something, and takes a
 * unit only when all of it is well-formed. Whether a command would be refused is no matter here:
 * it says what may follow from a line, not what must. */
#ifndef ASKED_H
#define ASKED_H

#include <stdbool.h>

#include "image.h"

struct asked {
    image_t closed;  /* to be closed at once */
    image_t touch;   /* to be closed by touches */
    bool touches, supply, reset_line, clears, keeps;
};

void asked_in(const char *line, struct asked *asked); /* adds to what is there */

#endif
