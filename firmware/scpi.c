#include "scpi.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "clock.h"
#include "errors.h"
#include "guard.h"
#include "parse.h"
#include "reset_line.h"
#include "status.h"
#include "touch.h"
#include "uart.h"

#define LINE_MAX 200
#define MNEMONIC_MAX 12

static char line[LINE_MAX + 1];
static uint8_t line_length;
static uint32_t came_us; /* the line's end: a unit that waited doesn't feed the dead-man anew */
static int16_t line_fault; /* of a message that must not run: -101 or -363 */

static char *unit;               /* the next message unit; 0 between messages */
static char path[HEADER_MAX + 1]; /* where a header without a colon at its front begins */
static bool replied;
static bool last_query; /* *IDN? was asked: its answer has no end but the message's */
static enum { WAIT_NONE, WAIT, WAIT_AND_REPLY } waiting;
static bool opc_armed;

/* --- replies ---------------------------------------------------------------------- */

void reply_begin(void)
{
    if (replied)
        uart_put(';');
    replied = true;
}

bool reply_pending(void) { return replied; }

void reply_char(char character) { uart_put(character); }

void reply_text(PGM_P text)
{
    for (char c; (c = pgm_read_byte(text)); text++)
        uart_put(c);
}

void reply_number(uint32_t number)
{
    char digits[11];
    ultoa(number, digits, 10);
    for (char *c = digits; *c; c++)
        uart_put(*c);
}

void reply_integer(int32_t number)
{
    if (number < 0)
        uart_put('-');
    reply_number(number < 0 ? -(uint32_t)number : (uint32_t)number);
}

/* --- operation complete ----------------------------------------------------------- */

static bool is_operating(void) { return touch_is_busy() || reset_line_is_pulled(); }

void scpi_operation_complete(void) { opc_armed = true; }

void scpi_forget_operation(void) { opc_armed = false; }

void scpi_wait_for_touch(uint8_t and_reply) { waiting = and_reply ? WAIT_AND_REPLY : WAIT; }

void scpi_last_query(void) { last_query = true; }

/* --- one message unit ------------------------------------------------------------- */

/* Two letters rule most rows out at once: the whole search takes less than a step may wait. */
static bool find(const char *header, bool is_query, struct command *row)
{
    char first = toupper(header[0]), second = toupper(header[1]);
    for (const struct command *at = commands;; at++) {
        PGM_P pattern = (PGM_P)pgm_read_ptr(&at->pattern);
        if (!pattern)
            return false;
        if (pgm_read_byte(pattern) != first || pgm_read_byte(pattern + 1) != second)
            continue;
        memcpy_P(row, at, sizeof *row);
        parse_suffix = 1;
        if ((is_query ? row->query : row->handle) && parse_matches(header, pattern))
            return true;
    }
}

/* A character that has its place in messages, but not here, or none at all. */
static int16_t misplaced(char c, int16_t error)
{
    return isalnum(c) || strchr_P(PSTR(" \"#'()*+,-./:?@_"), c) ? error : -101;
}

/* Takes the header off the unit, completes it with the path, and moves the path on. */
static int16_t take_header(char **rest, char *header, bool *is_query)
{
    char *text = *rest, *end = text;
    bool is_common = *text == '*';
    if (is_common || *text == ':')
        end++;
    for (;; end++) {
        char *mnemonic = end;
        if (!isalpha(*end))
            return misplaced(*end, -110);
        while (isalnum(*end) || *end == '_')
            end++;
        if (end - mnemonic > MNEMONIC_MAX)
            return -112;
        if (*end != ':' || is_common)
            break;
    }
    uint8_t start = is_common || *text == ':' ? 0 : strlen(path);
    if (*text == ':')
        text++;
    uint8_t length = end - text;
    *is_query = *end == '?';
    if (*is_query)
        end++;
    if (*end && *end != ' ')
        return misplaced(*end, -111);
    if (start + length > HEADER_MAX)
        return -113; /* no header is as long */
    memcpy(header, path, start);
    memcpy(header + start, text, length);
    header[start + length] = 0;
    *rest = end;
    if (!is_common) {
        strcpy(path, header);
        char *colon = strrchr(path, ':');
        if (colon)
            colon[1] = 0;
        else
            path[0] = 0;
    }
    return 0;
}

static int16_t run_unit(char *text)
{
    char header[HEADER_MAX + 1];
    bool is_query;
    struct command row;
    while (*text == ' ')
        text++;
    if (!*text)
        return 0;
    int16_t error = take_header(&text, header, &is_query);
    if (error)
        return error;
    if ((*header == '*' && isdigit(header[strlen(header) - 1])) || !find(header, is_query, &row))
        return -113;
    if (!parse_suffix)
        return -114;
    if (is_query && last_query)
        return -440;
    uint8_t allowed = is_query ? row.allowed >> QUERY_SHIFT : row.allowed;
    if (guard_is_latched() && !(allowed & WHILE_LATCHED))
        return 105;
    if (touch_is_busy() && !(allowed & WHILE_TOUCHING))
        return -221;
    parse_start(text);
    error = is_query ? row.query() : row.handle();
    if (!error)
        guard_fed(came_us);
    return error;
}

/* Where the unit ends: at a semicolon that isn't part of a string. */
static char *end_of_unit(char *text)
{
    char quote = 0;
    for (; *text; text++) {
        if (quote)
            quote = *text == quote ? 0 : quote;
        else if (*text == '"' || *text == '\'')
            quote = *text;
        else if (*text == ';')
            break;
    }
    return text;
}

static void end_message(void)
{
    if (replied)
        uart_put('\n');
    replied = last_query = false;
    unit = 0;
    line_length = 0;
}

static void run_next_unit(void)
{
    char *text = unit, *end = end_of_unit(text);
    unit = *end ? end + 1 : 0;
    *end = 0;
    int16_t error = run_unit(text);
    if (error) {
        errors_push(error); /* what follows in the message is not run */
        unit = 0;
    }
    if (!unit && !waiting)
        end_message();
}

/* --- lines ------------------------------------------------------------------------ */

static void end_line(void)
{
    line[line_length] = 0;
    if (line_fault) {
        errors_push(line_fault);
        line_fault = 0;
        line_length = 0;
        return;
    }
    came_us = clock_us();
    path[0] = 0;
    unit = line;
}

static void take(uint8_t byte)
{
    switch (byte) {
    case UART_LOST:
        line_fault = -363;
        end_line();
        return;
    case '\n':
        end_line();
        return;
    case UART_BAD:
        if (!line_fault)
            line_fault = -101;
        return;
    }
    if (line_length == LINE_MAX)
        line_fault = -363;
    else
        line[line_length++] = byte;
}

bool scpi_run(void)
{
    if (opc_armed && !is_operating()) {
        opc_armed = false;
        events_set(ESR_OPC);
    }
    if (waiting) {
        if (is_operating())
            return false;
        if (waiting == WAIT_AND_REPLY) {
            reply_begin();
            reply_char('1');
        }
        waiting = WAIT_NONE;
        if (!unit)
            end_message();
        return true;
    }
    if (unit) {
        /* Its reply must find room: a wait for some would shift the touch's steps, or the end of a
         * closure that is to be short. */
        if ((touch_is_busy() || guard_has_low()) && !uart_is_sent())
            return false;
        run_next_unit();
        return true;
    }
    while (uart_has_input()) {
        uint8_t byte = uart_get();
        take(byte);
        if (byte == '\n' || byte == UART_LOST)
            return true;
    }
    return false;
}
