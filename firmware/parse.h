/* Reading one message unit: headers against their patterns, parameters one by one.
 *
 * Every parse_* function takes what it reads off the front of the parameters and gives 0
 * or an error number; nothing is ever changed by a parameter that was refused. */
#ifndef PARSE_H
#define PARSE_H

#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>

#include "chain.h"

/* True when a header is this pattern in its long or short form, upper or lower case. */
bool parse_matches(const char *header, PGM_P pattern);

void parse_start(char *parameters);
bool parse_more(void);                                     /* another parameter is there */
bool parse_word(PGM_P pattern);                            /* takes it when it matches */
int16_t parse_integer(int32_t least, int32_t most, int32_t *value);
int16_t parse_boolean(bool *value);
int16_t parse_channels(image_t *image, char *order, uint8_t *length);
int16_t parse_end(void);                                   /* nothing may be left over */

#endif
