/* Handlers of IEEE 488.2's common commands and SCPI's SYSTem and STATus. Handlers read all
 * their parameters before they act, so that a refused command changes nothing. */
#include "commands.h"

#include "boot.h"
#include "configuration.h"
#include "errors.h"
#include "guard.h"
#include "status.h"
#include "touch.h"

int16_t answer(uint32_t number)
{
    TRY(parse_end());
    reply_begin();
    reply_number(number);
    return 0;
}

int16_t answer_decimal(uint32_t number, uint8_t places)
{
    uint32_t unit = 1;
    for (uint8_t n = places; n; n--)
        unit *= 10;
    reply_begin();
    reply_number(number / unit);
    reply_char('.');
    while ((unit /= 10))
        reply_char('0' + number / unit % 10);
    return 0;
}

int16_t answer_quantity(uint32_t number, uint32_t least, uint32_t most, uint32_t usual)
{
    if (parse_word(PSTR("MINimum")))
        number = least;
    else if (parse_word(PSTR("MAXimum")))
        number = most;
    else if (parse_word(PSTR("DEFault")))
        number = usual;
    return answer(number);
}

/* --- common commands --------------------------------------------------------------- */

int16_t identity_query(void)
{
    TRY(parse_end());
    reply_begin();
    TEXT("padsweep,controller,0,0.5.0");
    scpi_last_query();
    return 0;
}

int16_t reset_command(void)
{
    TRY(parse_end());
    guard_off();
    touch_reset();
    configuration_load();
    scpi_forget_operation();
    return 0;
}

int16_t clear_status(void)
{
    TRY(parse_end());
    errors_clear();
    status_clear();
    scpi_forget_operation();
    return 0;
}

int16_t event_status_query(void)
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
int16_t status_byte_query(void) { return answer(status_byte(reply_pending())); }

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

int16_t self_test(void)
{
    TRY(parse_end());
    return answer(guard_self_test());
}

/* --- status registers --------------------------------------------------------------- */

int16_t preset_command(void)
{
    TRY(parse_end());
    status_preset();
    return 0;
}

/* Bit 15 is taken and never kept, as the standard wants it. */
static int16_t set_register(uint16_t *bits)
{
    int32_t value;
    TRY(parse_integer(0, 65535, &value));
    TRY(parse_end());
    *bits = value & 0x7fff;
    return 0;
}

static int16_t answer_event(enum status_register which)
{
    TRY(parse_end());
    return answer(status_take(which));
}

#define OPERATION status[STATUS_OPERATION]
#define QUESTIONABLE status[STATUS_QUESTIONABLE]

int16_t operation_event(void) { return answer_event(STATUS_OPERATION); }
int16_t operation_condition(void) { return answer(OPERATION.condition); }
int16_t operation_enable(void) { return set_register(&OPERATION.enable); }
int16_t operation_enable_query(void) { return answer(OPERATION.enable); }
int16_t operation_rise(void) { return set_register(&OPERATION.positive); }
int16_t operation_rise_query(void) { return answer(OPERATION.positive); }
int16_t operation_fall(void) { return set_register(&OPERATION.negative); }
int16_t operation_fall_query(void) { return answer(OPERATION.negative); }

int16_t questionable_event(void) { return answer_event(STATUS_QUESTIONABLE); }
int16_t questionable_condition(void) { return answer(QUESTIONABLE.condition); }
int16_t questionable_enable(void) { return set_register(&QUESTIONABLE.enable); }
int16_t questionable_enable_query(void) { return answer(QUESTIONABLE.enable); }
int16_t questionable_rise(void) { return set_register(&QUESTIONABLE.positive); }
int16_t questionable_rise_query(void) { return answer(QUESTIONABLE.positive); }
int16_t questionable_fall(void) { return set_register(&QUESTIONABLE.negative); }
int16_t questionable_fall_query(void) { return answer(QUESTIONABLE.negative); }

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

int16_t boots_query(void)
{
    TRY(parse_end());
    if (!guard_is_anything_on())
        boot_store(); /* so that a loop of starts that nobody watches doesn't wear the EEPROM */
    return answer(boot_count());
}

int16_t fuses_query(void)
{
    TRY(parse_end());
    reply_begin();
    for (uint8_t n = 0; n < BOOT_FUSES; n++) {
        if (n)
            reply_char(',');
        reply_number(boot_fuse(n));
    }
    return 0;
}
