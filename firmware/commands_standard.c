/* Handlers of IEEE 488.2's common commands and SCPI's SYSTem and STATus. Handlers read all
 * their parameters before they act, so that a refused command changes nothing. */
#include "commands.h"

#include "boot.h"
#include "chain.h"
#include "errors.h"
#include "guard.h"
#include "touch.h"

int16_t answer(uint32_t number)
{
    TRY(parse_end());
    reply_begin();
    reply_number(number);
    return 0;
}

/* --- common commands --------------------------------------------------------------- */

int16_t identity_query(void)
{
    TRY(parse_end());
    reply_begin();
    TEXT("padsweep,controller,0,0.1.0");
    return 0;
}

int16_t reset_command(void)
{
    TRY(parse_end());
    guard_off();
    touch_reset();
    guard_set_deadman_ms(DEADMAN_DEFAULT_MS);
    scpi_forget_operation();
    return 0;
}

int16_t clear_status(void)
{
    TRY(parse_end());
    errors_clear();
    scpi_forget_operation();
    return 0;
}

int16_t event_status(void)
{
    TRY(parse_end());
    return answer(events_take());
}

static int16_t set_mask(uint8_t *mask)
{
    int32_t value;
    TRY(parse_integer(0, 255, &value));
    TRY(parse_end());
    *mask = value;
    return 0;
}

int16_t event_enable(void) { return set_mask(&events_enable); }
int16_t event_enable_query(void) { return answer(events_enable); }

int16_t service_enable_set(void)
{
    uint8_t mask = service_enable;
    TRY(set_mask(&mask));
    service_enable = mask & ~STB_MSS; /* its own bit can't summon itself */
    return 0;
}

int16_t service_enable_query(void) { return answer(service_enable); }
int16_t status_query(void) { return answer(status_byte(reply_pending())); }

int16_t operation_complete(void)
{
    TRY(parse_end());
    scpi_operation_complete();
    return 0;
}

int16_t operation_complete_query(void)
{
    TRY(parse_end());
    scpi_wait_for_touch(1);
    return 0;
}

int16_t wait_command(void)
{
    TRY(parse_end());
    scpi_wait_for_touch(0);
    return 0;
}

/* 0: passed; 1: the chain doesn't give back what is shifted through it. */
int16_t self_test(void)
{
    TRY(parse_end());
    return answer(chain_test() ? 0 : 1);
}

/* --- system ------------------------------------------------------------------------ */

int16_t next_error(void)
{
    TRY(parse_end());
    int16_t number = errors_pop();
    reply_begin();
    reply_integer(number);
    TEXT(",\"");
    reply_text(errors_text(number));
    reply_char('"');
    return 0;
}

int16_t error_count(void) { return answer(errors_count()); }

int16_t version_query(void)
{
    TRY(parse_end());
    reply_begin();
    TEXT("1999.0");
    return 0;
}

int16_t boots_query(void) { return answer(boot_count()); }

int16_t deadman(void)
{
    int32_t ms;
    TRY(parse_integer(DEADMAN_MIN_MS, DEADMAN_MAX_MS, &ms));
    TRY(parse_end());
    guard_set_deadman_ms(ms);
    return 0;
}

int16_t deadman_query(void) { return answer(guard_deadman_ms()); }
