/* The table of commands and what each does. Handlers read all their parameters before
 * they act, so that a refused command changes nothing. */
#include <string.h>

#include "adc.h"
#include "boot.h"
#include "errors.h"
#include "guard.h"
#include "parse.h"
#include "relays.h"
#include "scpi.h"
#include "supply.h"
#include "touch.h"

#define TRY(call)           \
    do {                    \
        int16_t e = (call); \
        if (e)              \
            return e;       \
    } while (0)

#define WORD(name, text) static const char name[] PROGMEM = text
WORD(word_none, "NONE");
WORD(word_all, "ALL");

#define TEXT(text) reply_text(PSTR(text))

static int16_t answer(uint32_t number)
{
    TRY(parse_end());
    reply_begin();
    reply_number(number);
    return 0;
}

/* --- common commands --------------------------------------------------------------- */

static int16_t identity(void)
{
    TRY(parse_end());
    reply_begin();
    TEXT("padsweep,controller,0,0.1.0");
    return 0;
}

static int16_t reset(void)
{
    TRY(parse_end());
    guard_off();
    touch_reset();
    guard_set_deadman_ms(DEADMAN_DEFAULT_MS);
    scpi_forget_operation();
    return 0;
}

static int16_t clear_status(void)
{
    TRY(parse_end());
    errors_clear();
    scpi_forget_operation();
    return 0;
}

static int16_t event_status(void)
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

static int16_t event_enable(void) { return set_mask(&events_enable); }
static int16_t event_enable_query(void) { return answer(events_enable); }

static int16_t service_enable_set(void)
{
    uint8_t mask = service_enable;
    TRY(set_mask(&mask));
    service_enable = mask & ~STB_MSS; /* its own bit can't summon itself */
    return 0;
}

static int16_t service_enable_query(void) { return answer(service_enable); }
static int16_t status_query(void) { return answer(status_byte(reply_pending())); }

static int16_t operation_complete(void)
{
    TRY(parse_end());
    scpi_operation_complete();
    return 0;
}

static int16_t operation_complete_query(void)
{
    TRY(parse_end());
    scpi_wait_for_touch(1);
    return 0;
}

static int16_t wait(void)
{
    TRY(parse_end());
    scpi_wait_for_touch(0);
    return 0;
}

/* 0: passed; 1: the chain doesn't give back what is shifted through it. */
static int16_t self_test(void)
{
    TRY(parse_end());
    return answer(chain_test() ? 0 : 1);
}

/* --- system ------------------------------------------------------------------------ */

static int16_t next_error(void)
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

static int16_t error_count(void) { return answer(errors_count()); }

static int16_t version(void)
{
    TRY(parse_end());
    reply_begin();
    TEXT("1999.0");
    return 0;
}

static int16_t boots(void) { return answer(boot_count()); }

static int16_t deadman(void)
{
    int32_t ms;
    TRY(parse_integer(DEADMAN_MIN_MS, DEADMAN_MAX_MS, &ms));
    TRY(parse_end());
    guard_set_deadman_ms(ms);
    return 0;
}

static int16_t deadman_query(void) { return answer(guard_deadman_ms()); }

/* --- routes, keys, supply ----------------------------------------------------------- */

static int16_t apply(const image_t *wanted)
{
    if (!guard_allows(wanted))
        return -221;
    relays_set(wanted); /* a failure has latched and reported itself */
    return 0;
}

static int16_t close(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] |= list.byte[n];
    return apply(&wanted);
}

static int16_t open(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] &= ~list.byte[n];
    return apply(&wanted);
}

static int16_t touch_stop(void)
{
    TRY(parse_end());
    relays_off();
    touch_abort();
    return 0;
}

static int16_t open_all(void)
{
    TRY(parse_end());
    if (touch_is_busy())
        return touch_stop();
    image_t wanted = *relays_now();
    memset(wanted.byte, 0, PAD_BYTES);
    wanted.byte[SERIES_BYTE] = 0;
    return apply(&wanted);
}

static int16_t close_query(void)
{
    image_t list;
    char order[2 * PADS];
    uint8_t length;
    TRY(parse_channels(&list, order, &length));
    TRY(parse_end());
    reply_begin();
    for (uint8_t n = 0; n < length; n++) {
        uint8_t bit = order[n];
        if (n)
            reply_char(',');
        reply_char('0' + (relays_now()->byte[bit / 8] >> (bit % 8) & 1));
    }
    return 0;
}

static int16_t series(void)
{
    int32_t channel;
    TRY(parse_integer(0, SERIES_CHANNELS, &channel));
    TRY(parse_end());
    image_t wanted = *relays_now();
    wanted.byte[SERIES_BYTE] = channel ? 1 << (channel - 1) : 0;
    return apply(&wanted);
}

static int16_t series_query(void)
{
    uint8_t channel = 0;
    for (uint8_t bits = relays_now()->byte[SERIES_BYTE]; bits; bits >>= 1)
        channel++;
    return answer(channel);
}

static int16_t parse_keys(uint8_t *keys)
{
    *keys = 0;
    do {
        int32_t channel;
        TRY(parse_integer(1, KEY_CHANNELS, &channel));
        *keys |= 1 << (channel - 1);
    } while (parse_more());
    return parse_end();
}

static int16_t key_press(void)
{
    uint8_t keys;
    TRY(parse_keys(&keys));
    image_t wanted = *relays_now();
    wanted.byte[KEY_BYTE] |= keys;
    return apply(&wanted);
}

static int16_t key_release(void)
{
    uint8_t keys = 0xff;
    if (parse_word(word_all))
        TRY(parse_end());
    else
        TRY(parse_keys(&keys));
    image_t wanted = *relays_now();
    wanted.byte[KEY_BYTE] &= ~keys;
    return apply(&wanted);
}

static int16_t output(void)
{
    bool on;
    TRY(parse_boolean(&on));
    TRY(parse_end());
    if (!on) {
        guard_off(); /* a closed pad or key would go on feeding the toy */
        return 0;
    }
    if (guard_is_latched())
        return 105;
    supply_set(true);
    return 0;
}

static int16_t output_query(void) { return answer(supply_is_on()); }

static int16_t protection_clear(void)
{
    TRY(parse_end());
    guard_clear();
    return 0;
}

static int16_t protection_tripped(void) { return answer(guard_is_latched()); }

static int16_t rail_voltage(void)
{
    TRY(parse_end());
    uint16_t mv = adc_rail_mv();
    reply_begin();
    reply_number(mv / 1000);
    reply_char('.');
    for (uint16_t unit = 100; unit; unit /= 10)
        reply_char('0' + mv / unit % 10);
    return 0;
}

/* --- touches ------------------------------------------------------------------------ */

static int16_t touch_connections(void)
{
    image_t list;
    if (parse_word(word_none))
        memset(&list, 0, sizeof list);
    else
        TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    if (!guard_allows(&list))
        return -221;
    touch_settings.pads = list;
    return 0;
}

static int16_t touch_series(void)
{
    int32_t channel;
    TRY(parse_integer(0, SERIES_CHANNELS, &channel));
    TRY(parse_end());
    touch_settings.series = channel;
    return 0;
}

static int16_t touch_keys(void)
{
    uint8_t keys = 0;
    if (parse_word(word_none))
        TRY(parse_end());
    else
        TRY(parse_keys(&keys));
    touch_settings.keys = keys;
    return 0;
}

static int16_t touch_timing(void)
{
    int32_t before, press, lead_in, dwell, tail;
    TRY(parse_integer(0, 10000, &before));
    TRY(parse_integer(1, 5000, &press));
    TRY(parse_integer(0, 10000, &lead_in));
    TRY(parse_integer(1, CLOSURE_MAX_MS, &dwell));
    TRY(parse_integer(0, 10000, &tail));
    TRY(parse_end());
    touch_settings.before_ms = before;
    touch_settings.press_ms = press;
    touch_settings.lead_in_ms = lead_in;
    touch_settings.dwell_ms = dwell;
    touch_settings.tail_ms = tail;
    return 0;
}

static int16_t touch_start(void)
{
    TRY(parse_end());
    if (touch_is_busy())
        return -213;
    return touch_initiate() ? 0 : -221;
}

static int16_t touch_state_query(void)
{
    static const char words[][6] PROGMEM = {"IDLE", "BEFO", "LEAD", "DWELL", "TAIL", "TAIL", "DONE"};
    TRY(parse_end());
    reply_begin();
    reply_text(words[touch_state()]);
    return 0;
}

static int16_t touch_end_early(void)
{
    TRY(parse_end());
    if (touch_state() == TOUCH_IDLE)
        return -221;
    touch_end();
    return 0;
}

static int16_t touch_timeline(void)
{
    TRY(parse_end());
    if (touch_state() != TOUCH_DONE)
        return -221;
    reply_begin();
    for (uint8_t step = 0; step < STEPS; step++) {
        uint32_t us;
        if (step)
            reply_char(',');
        if (touch_stamp(step, &us))
            reply_number(us);
        else
            TEXT("-1");
    }
    return 0;
}

/* --- the table ---------------------------------------------------------------------- */

const struct command commands[] PROGMEM = {
    {"*IDN?", identity, ALWAYS},
    {"*RST", reset, ALWAYS},
    {"*CLS", clear_status, ALWAYS},
    {"*ESR?", event_status, ALWAYS},
    {"*ESE", event_enable, ALWAYS},
    {"*ESE?", event_enable_query, ALWAYS},
    {"*SRE", service_enable_set, ALWAYS},
    {"*SRE?", service_enable_query, ALWAYS},
    {"*STB?", status_query, ALWAYS},
    {"*OPC", operation_complete, ALWAYS},
    {"*OPC?", operation_complete_query, ALWAYS},
    {"*WAI", wait, ALWAYS},
    {"*TST?", self_test, WHILE_LATCHED},
    {"SYSTem:ERRor?", next_error, ALWAYS},
    {"SYSTem:ERRor:NEXT?", next_error, ALWAYS},
    {"SYSTem:ERRor:COUNt?", error_count, ALWAYS},
    {"SYSTem:VERSion?", version, ALWAYS},
    {"SYSTem:BOOTs?", boots, ALWAYS},
    {"SYSTem:DMAN", deadman, ALWAYS},
    {"SYSTem:DMAN?", deadman_query, ALWAYS},
    {"ROUTe:CLOSe", close, 0},
    {"ROUTe:CLOSe?", close_query, ALWAYS},
    {"ROUTe:CLOSe:STATe?", close_query, ALWAYS},
    {"ROUTe:OPEN", open, WHILE_LATCHED},
    {"ROUTe:OPEN:ALL", open_all, ALWAYS},
    {"ROUTe:SERies", series, 0},
    {"ROUTe:SERies?", series_query, ALWAYS},
    {"INPut:KEY:PRESs", key_press, 0},
    {"INPut:KEY:RELease", key_release, WHILE_LATCHED},
    {"OUTPut", output, ALWAYS},
    {"OUTPut?", output_query, ALWAYS},
    {"OUTPut:STATe", output, ALWAYS},
    {"OUTPut:STATe?", output_query, ALWAYS},
    {"OUTPut:PROTection:CLEar", protection_clear, ALWAYS},
    {"OUTPut:PROTection:TRIPped?", protection_tripped, ALWAYS},
    {"MEASure:VOLTage?", rail_voltage, ALWAYS},
    {"TOUCh:CONNections", touch_connections, 0},
    {"TOUCh:SERies", touch_series, 0},
    {"TOUCh:KEYS", touch_keys, 0},
    {"TOUCh:TIMing", touch_timing, 0},
    {"TOUCh:INITiate", touch_start, WHILE_TOUCHING},
    {"TOUCh:STATe?", touch_state_query, ALWAYS},
    {"TOUCh:END", touch_end_early, ALWAYS},
    {"TOUCh:ABORt", touch_stop, ALWAYS},
    {"TOUCh:TIMeline?", touch_timeline, ALWAYS},
    {"", 0, 0},
};
