/* What the files of handlers share, and every handler in the table. */
#ifndef COMMANDS_H
#define COMMANDS_H

#include "parse.h"
#include "scpi.h"

#define TRY(call)           \
    do {                    \
        int16_t e = (call); \
        if (e)              \
            return e;       \
    } while (0)

#define WORD(name, text) static const char name[] PROGMEM = text
#define TEXT(text) reply_text(PSTR(text))

int16_t answer(uint32_t number); /* a query's only reply, once its parameters are read */
int16_t answer_decimal(uint32_t number, uint8_t places); /* number / 10^places; nothing to read */
/* The same for a quantity: the query takes MINimum, MAXimum or DEFault and tells these then. */
int16_t answer_quantity(uint32_t number, uint32_t least, uint32_t most, uint32_t usual);

/* Numbers from 1 to `most` as bits, and nothing behind them; or the word, where one is given. */
int16_t parse_bits(uint8_t most, PGM_P word, uint8_t of_word, uint8_t *bits);
/* Bits as numbers from 1, with commas; the word when none is set. */
int16_t answer_bits(uint8_t bits, PGM_P word);

#define COMMAND(pattern, handler, allowed) int16_t handler(void);
#define QUERY(pattern, handler, allowed) int16_t handler(void);
#define BOTH(pattern, handler, query, allowed) int16_t handler(void), query(void);
#include "commands.def"
#undef COMMAND
#undef QUERY
#undef BOTH

#endif
