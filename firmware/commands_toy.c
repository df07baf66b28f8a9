/* Handlers of what moves, measures and touches: ROUTe, TOY, OUTPut, MEASure, TOUCh. They
 * read all their parameters before they act, so that a refused command changes nothing. */
#include "commands.h"

#include <string.h>

#include "adc.h"
#include "channels.h"
#include "clock.h"
#include "configuration.h"
#include "current.h"
#include "driver.h"
#include "errors.h"
#include "guard.h"
#include "relays.h"
#include "reset_line.h"
#include "supply.h"
#include "touch.h"

#define SENSE_SETTLE_US 1000 /* the divider's filter */

/* Continuity: 0.18 V behind 10 kohm, seen twentyfold; from 98 % of it on the path is open. */
#define SOURCE_OHM 10000UL
#define SOURCE_MV (180UL * 20)
#define SOURCE_SUM (SOURCE_MV * ADC_FULL / ADC_REFERENCE_MV)
#define OPEN_SUM (SOURCE_SUM * 98 / 100)

WORD(word_none, "NONE");
WORD(word_all, "ALL");

/* --- routes, keys, supply ----------------------------------------------------------- */

int16_t route_close(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] |= list.byte[n];
    return relays_set(&wanted);
}

/* Closes nothing: what the guard has opened meanwhile stays open. */
int16_t route_keep(void)
{
    TRY(parse_end());
    return guard_keep(clock_us()) ? 0 : -221;
}

int16_t route_open(void)
{
    image_t list, wanted = *relays_now();
    TRY(parse_channels(&list, 0, 0));
    TRY(parse_end());
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        wanted.byte[n] &= ~list.byte[n];
    return relays_set(&wanted);
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
    wanted.series = wanted.aux = 0;
    return relays_set(&wanted);
}

int16_t route_close_query(void)
{
    image_t list;
    uint8_t order[CHANNELS_MAX];
    uint8_t length;
    TRY(parse_channels(&list, order, &length));
    TRY(parse_end());
    reply_begin();
    for (uint8_t n = 0; n < length; n++) {
        if (n)
            reply_char(',');
        reply_char('0' + image_has(relays_now(), order[n]));
    }
    return 0;
}

/* Channels of the bank, several for their values side by side; or 0 alone, for none. */
static int16_t parse_series(uint8_t *series)
{
    uint8_t read = 0;
    do {
        int32_t channel;
        TRY(parse_integer(0, SERIES_CHANNELS, &channel));
        if (channel)
            read |= 1 << (channel - 1);
        else if (read || parse_more())
            return -222;
        else
            break;
    } while (parse_more());
    TRY(parse_end());
    *series = read;
    return 0;
}

int16_t route_series(void)
{
    image_t wanted = *relays_now();
    TRY(parse_series(&wanted.series));
    return relays_set(&wanted);
}

int16_t route_series_query(void) { return answer_bits(relays_now()->series, PSTR("0")); }

int16_t route_hold(void)
{
    uint8_t holds;
    TRY(parse_bits(HOLD_CHANNELS, word_none, 0, &holds));
    image_t wanted = *relays_now();
    wanted.aux = holds << AUX_HOLD_FIRST;
    return relays_set(&wanted);
}

int16_t route_hold_query(void)
{
    return answer_bits(relays_now()->aux >> AUX_HOLD_FIRST, word_none);
}

int16_t parse_bits(uint8_t most, PGM_P word, uint8_t of_word, uint8_t *bits)
{
    uint8_t read = 0;
    if (word && parse_word(word)) {
        read = of_word;
    } else {
        do {
            int32_t channel;
            TRY(parse_integer(1, most, &channel));
            read |= 1 << (channel - 1);
        } while (parse_more());
    }
    TRY(parse_end());
    *bits = read;
    return 0;
}

int16_t answer_bits(uint8_t bits, PGM_P word)
{
    TRY(parse_end());
    reply_begin();
    if (!bits)
        reply_text(word);
    bool any = false;
    for (uint8_t n = 1; bits; n++, bits >>= 1) {
        if (!(bits & 1))
            continue;
        if (any)
            reply_char(',');
        any = true;
        reply_number(n);
    }
    return 0;
}

int16_t key_press(void)
{
    uint8_t keys;
    TRY(parse_bits(KEY_CHANNELS, 0, 0, &keys));
    image_t wanted = *relays_now();
    wanted.keys |= keys;
    return relays_set(&wanted);
}

int16_t key_release(void)
{
    uint8_t keys;
    TRY(parse_bits(KEY_CHANNELS, word_all, 0xff, &keys));
    image_t wanted = *relays_now();
    wanted.keys &= ~keys;
    return relays_set(&wanted);
}

int16_t toy_reset(void)
{
    int32_t ms;
    TRY(parse_quantity(UNIT_MS, 1, 2000, 100, &ms));
    TRY(parse_end());
    reset_line_pull(ms);
    return 0;
}

int16_t driver_query(void)
{
    TRY(parse_end());
    const uint16_t numbers[] = {driver.pads, driver.bus_pads, driver.make_us, driver.break_us,
                                driver.most_mv};
    reply_begin();
    reply_text(driver_name);
    for (uint8_t n = 0; n < sizeof numbers / sizeof numbers[0]; n++) {
        reply_char(',');
        reply_number(numbers[n]);
    }
    return 0;
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
    if (supply_is_on())
        return 0;
    if (touch_is_busy())
        return -221; /* the switch's proof would shift its steps */
    if (guard_self_test())
        return -330;
    int16_t error = supply_on();
    if (error == 111) { /* what reports it opens everything too */
        guard_latch(error);
        return 0;
    }
    return error;
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
    return answer_decimal(adc_mv(RAIL_CHANNEL), 3);
}

int16_t own_voltage(void)
{
    TRY(parse_end());
    if (!image_is_empty(relays_now()))
        return -221; /* coils pull it down */
    return answer_decimal(adc_supply_mv(), 3);
}

/* Adds aux channels to what is closed, for as long as `channel` is converted. */
static int16_t sense(uint8_t aux, uint8_t channel, uint16_t *sum)
{
    image_t before = *relays_now(), wanted = before;
    wanted.aux |= aux;
    TRY(relays_set(&wanted));
    clock_wait_us(RELAY_MAKE_US + SENSE_SETTLE_US);
    *sum = adc_sum(channel);
    if (guard_is_latched())
        return 105;
    return relays_set(&before);
}

int16_t bus_voltage(void)
{
    uint8_t aux = parse_suffix == 2 ? AUX_SENSE_2 : AUX_SENSE_1;
    uint16_t sum;
    TRY(parse_end());
    TRY(sense(aux, BUS_CHANNEL, &sum));
    return answer_decimal(adc_mv_of(sum), 3);
}

int16_t resistance(void)
{
    uint16_t sum;
    TRY(parse_end());
    if (supply_is_on() || !supply_rail_is_down())
        return -221;
    TRY(sense(AUX_SENSE_1 | AUX_CONTINUITY, CONTINUITY_CHANNEL, &sum));
    reply_begin();
    if (sum >= OPEN_SUM)
        TEXT("9.9E37");
    else
        reply_number((SOURCE_OHM * sum + (SOURCE_SUM - sum) / 2) / (SOURCE_SUM - sum));
    return 0;
}

int16_t supply_current(void)
{
    TRY(parse_end());
    return answer_decimal(current_mean_ua(), 6);
}

int16_t peak_current(void)
{
    TRY(parse_end());
    return answer_decimal(current_take_peak_ua(), 6);
}

int16_t fall_time(void)
{
    uint16_t ms;
    TRY(parse_end());
    if (supply_fall_ms(&ms))
        return answer_decimal(ms, 3);
    reply_begin();
    TEXT("9.91E37");
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
    TRY(guard_allows(&list));
    touch_settings.pads = list;
    return 0;
}

int16_t touch_series(void) { return parse_series(&touch_settings.series); }

int16_t touch_keys(void)
{
    return parse_bits(KEY_CHANNELS, word_none, 0, &touch_settings.keys);
}

int16_t touch_hold(void)
{
    return parse_bits(HOLD_CHANNELS, word_none, 0, &touch_settings.holds);
}

int16_t touch_timing(void)
{
    int32_t before, press, lead_in, dwell, tail;
    TRY(parse_quantity(UNIT_MS, 0, 10000, TOUCH_BEFORE_MS, &before));
    TRY(parse_quantity(UNIT_MS, 1, 5000, TOUCH_PRESS_MS, &press));
    TRY(parse_quantity(UNIT_MS, 0, 10000, TOUCH_LEAD_IN_MS, &lead_in));
    TRY(parse_quantity(UNIT_MS, 1, CLOSURE_MOST_MS, TOUCH_DWELL_MS, &dwell));
    TRY(parse_quantity(UNIT_MS, 0, 10000, TOUCH_TAIL_MS, &tail));
    TRY(parse_end());
    touch_settings.before_ms = before;
    touch_settings.press_ms = press;
    touch_settings.lead_in_ms = lead_in;
    touch_settings.dwell_ms = dwell;
    touch_settings.tail_ms = tail;
    return 0;
}

int16_t touch_limit(void)
{
    int32_t above = 0;
    if (!parse_word(word_none))
        TRY(parse_quantity(UNIT_MA, 1, CURRENT_MOST_MA, 20, &above));
    TRY(parse_end());
    touch_settings.above_ma = above;
    return 0;
}

static int16_t start(bool armed)
{
    TRY(parse_end());
    if (touch_is_busy())
        return -213;
    return touch_initiate(armed);
}

int16_t touch_start(void) { return start(false); }
int16_t touch_arm(void) { return start(true); }

int16_t touch_close(void)
{
    int32_t us = TOUCH_CLOSE_NOW;
    if (parse_more())
        TRY(parse_quantity(UNIT_US, 0, 30000000, TOUCH_CLOSE_NOW, &us));
    TRY(parse_end());
    return touch_close_at(us);
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
