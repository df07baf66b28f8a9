/* Reading one message unit: headers against their patterns, parameters one by one.
 *
 * Every parse_* function takes what it reads off the front of the parameters and gives 0
 * or an error number; nothing is ever changed by a parameter that was refused. */
#ifndef PARSE_H
#define PARSE_H

#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>

/* What a bare number is counted in. Suffixes: S MS US, A MA UA, V MV UV, OHM KOHM MOHM (the
 * standard's megohm). */
enum unit { UNIT_NONE, UNIT_MS, UNIT_MA, UNIT_MV, UNIT_OHM, UNIT_UA, UNIT_S, UNIT_US };

/* True when a header without its '?' fits a pattern: capitals are a node's short form, all of
 * it the long one, [:NODe] may be left out, NODe<1|2> takes a numeric suffix, any other node the
 * suffix 1. */
bool parse_matches(const char *header, PGM_P pattern);
extern uint8_t parse_suffix; /* that header's: 1 when none was given, 0 when it is out of range */

void parse_start(char *parameters);
bool parse_more(void);          /* another parameter is there */
bool parse_word(PGM_P pattern); /* takes it when it matches */
/* A number, MINimum, MAXimum or DEFault; these are in the unit too. */
int16_t parse_quantity(enum unit unit, int32_t least, int32_t most, int32_t usual, int32_t *value);
int16_t parse_integer(int32_t least, int32_t most, int32_t *value); /* a number alone */
int16_t parse_boolean(bool *value);
int16_t parse_end(void); /* nothing may be left over */

/* For readers of one kind of parameter. */
extern char *parse_at;       /* the rest of the parameters */
int16_t parse_begin(void);   /* at the next parameter, past its comma */
void parse_blanks(void);
int16_t parse_refused(void); /* why a parameter of another type than the wanted is refused */
int16_t parse_finish(void);  /* it ends here */

#endif
