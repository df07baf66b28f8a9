/* What the two files of handlers share, and every handler in them. */
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

#define TEXT(text) reply_text(PSTR(text))

int16_t answer(uint32_t number); /* a query's only reply, once its parameters are read */

/* commands_standard.c */
int16_t identity_query(void);
int16_t reset_command(void);
int16_t clear_status(void);
int16_t event_status(void);
int16_t service_enable_set(void);
int16_t operation_complete(void);
int16_t operation_complete_query(void);
int16_t wait_command(void);
int16_t self_test(void);
int16_t next_error(void);
int16_t version_query(void);
int16_t deadman(void);
int16_t event_enable(void);
int16_t event_enable_query(void);
int16_t service_enable_query(void);
int16_t status_query(void);
int16_t error_count(void);
int16_t boots_query(void);
int16_t deadman_query(void);

/* commands_toy.c */
int16_t route_close(void);
int16_t route_open(void);
int16_t touch_stop(void);
int16_t route_open_all(void);
int16_t route_close_query(void);
int16_t route_series(void);
int16_t route_series_query(void);
int16_t key_press(void);
int16_t key_release(void);
int16_t output_switch(void);
int16_t protection_clear(void);
int16_t rail_voltage(void);
int16_t touch_connections(void);
int16_t touch_series(void);
int16_t touch_keys(void);
int16_t touch_timing(void);
int16_t touch_start(void);
int16_t touch_state_query(void);
int16_t touch_end_early(void);
int16_t touch_timeline(void);
int16_t output_query(void);
int16_t protection_tripped(void);

#endif
