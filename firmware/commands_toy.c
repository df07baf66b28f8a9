/* Handlers of what moves, measures and touches: ROUTe, INPut, OUTPut, MEASure, TOUCh. They
 * read all their parameters before they act, so that a refused command changes nothing. */
#include "commands.h"

#include <string.h>

#include "adc.h"
#include "errors.h"
#include "guard.h"
#include "relays.h"
#include "supply.h"
#include "touch.h"

#define WORD(name, text) static const char name[] PROGMEM = text
WORD(word_none, "NONE");
WORD(word_all, "ALL");

/* --- routes, keys, supply ----------------------------------------------------------- */

static int16_t apply(const image_t *wanted)
{
    if (!guard_allows(wanted))
        return -221;
    relays_set(wanted); /* a failure has latched and reported itself */
    return 0;
}

int16_t route_close(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] |= list.byte[n];
    return apply(&wanted);
}

int16_t route_open(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] &= ~list.byte[n];
    return apply(&wanted);
}

int16_t touch_stop(void)
{
    TRY(parse_end());
    relays_off();
    touch_abort();
    return 0;
}

int16_t route_open_all(void)
{
    TRY(parse_end());
    if (touch_is_busy())
        return touch_stop();
    image_t wanted = *relays_now();
    memset(wanted.byte, 0, PAD_BYTES);
    wanted.byte[SERIES_BYTE] = 0;
    return apply(&wanted);
}

int16_t route_close_query(void)
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

int16_t route_series(void)
{
    int32_t channel;
    TRY(parse_integer(0, SERIES_CHANNELS, &channel));
    TRY(parse_end());
    image_t wanted = *relays_now();
    wanted.byte[SERIES_BYTE] = channel ? 1 << (channel - 1) : 0;
    return apply(&wanted);
}

int16_t route_series_query(void)
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

int16_t key_press(void)
{
    uint8_t keys;
    TRY(parse_keys(&keys));
    image_t wanted = *relays_now();
    wanted.byte[KEY_BYTE] |= keys;
    return apply(&wanted);
}

int16_t key_release(void)
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

int16_t output_switch(void)
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

int16_t output_query(void) { return answer(supply_is_on()); }

int16_t protection_clear(void)
{
    TRY(parse_end());
    guard_clear();
    return 0;
}

int16_t protection_tripped(void) { return answer(guard_is_latched()); }

int16_t rail_voltage(void)
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

int16_t touch_connections(void)
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

int16_t touch_series(void)
{
    int32_t channel;
    TRY(parse_integer(0, SERIES_CHANNELS, &channel));
    TRY(parse_end());
    touch_settings.series = channel;
    return 0;
}

int16_t touch_keys(void)
{
    uint8_t keys = 0;
    if (parse_word(word_none))
        TRY(parse_end());
    else
        TRY(parse_keys(&keys));
    touch_settings.keys = keys;
    return 0;
}

int16_t touch_timing(void)
{
    int32_t before, press, lead_in, dwell, tail;
    TRY(parse_quantity(UNIT_MS, 0, 10000, &before));
    TRY(parse_quantity(UNIT_MS, 1, 5000, &press));
    TRY(parse_quantity(UNIT_MS, 0, 10000, &lead_in));
    TRY(parse_quantity(UNIT_MS, 1, CLOSURE_MAX_MS, &dwell));
    TRY(parse_quantity(UNIT_MS, 0, 10000, &tail));
    TRY(parse_end());
    touch_settings.before_ms = before;
    touch_settings.press_ms = press;
    touch_settings.lead_in_ms = lead_in;
    touch_settings.dwell_ms = dwell;
    touch_settings.tail_ms = tail;
    return 0;
}

int16_t touch_start(void)
{
    TRY(parse_end());
    if (touch_is_busy())
        return -213;
    return touch_initiate() ? 0 : -221;
}

int16_t touch_state_query(void)
{
    static const char words[][6] PROGMEM = {"IDLE", "BEFO", "LEAD", "DWELL", "TAIL", "TAIL", "DONE"};
    TRY(parse_end());
    reply_begin();
    reply_text(words[touch_state()]);
    return 0;
}

int16_t touch_end_early(void)
{
    TRY(parse_end());
    if (touch_state() == TOUCH_IDLE)
        return -221;
    touch_end();
    return 0;
}

int16_t touch_timeline(void)
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
