/* Message exchange: lines in, message units through one table of handlers, replies out. */
#ifndef SCPI_H
#define SCPI_H

#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>

/* When a command may run. */
#define WHILE_LATCHED 1
#define WHILE_TOUCHING 2
#define ALWAYS (WHILE_LATCHED | WHILE_TOUCHING)
#define QUERY_SHIFT 2 /* the query's bits are above the command's */

#define HEADER_MAX 48

struct command {
    PGM_P pattern; /* without the query's '?' */
    int16_t (*handle)(void); /* 0 or an error number */
    int16_t (*query)(void);
    uint8_t allowed;
};

extern const struct command commands[] PROGMEM; /* ends with a null pattern */

/* Takes in a line, or runs one unit of it: touch and guard are looked at in between. True:
 * come again at once. */
bool scpi_run(void);

/* For handlers. */
void scpi_operation_complete(void);          /* *OPC */
void scpi_wait_for_touch(uint8_t and_reply); /* *WAI, *OPC?: holds the rest of the input */
void scpi_forget_operation(void);            /* *CLS and *RST */
void scpi_last_query(void);                  /* *IDN?: no other may follow in its message */

void reply_begin(void); /* every query calls this once; separates replies of one message */
void reply_text(PGM_P text);
void reply_char(char character);
void reply_number(uint32_t number);
void reply_integer(int32_t number);
bool reply_pending(void);

#endif
