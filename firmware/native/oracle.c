#include "oracle.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "asked.h"
#include "configuration.h"
#include "uart.h"

#define LINE_MOST 200
#define SLACK_US 60000 /* between two looks, and for what the firmware is at just then */
#define LOW_SLACK_US 30000 /* what can last longer isn't done while the toy is supplied */
#define TRIP_US 1000
#define AVERAGE_US 1000000
#define FULL_MA 450 /* the converter's end, less its error */
#define FULL_US 22000
#define RISE_US 60000 /* beyond the blanking */
#define GAP_US 4000

uint64_t oracle_closings, oracle_latchings, oracle_supplyings, oracle_low;

static struct asked asked;
static struct machine_outputs last;
static uint64_t since_us[8 * IMAGE_BYTES]; /* closed */
static uint64_t kept_us[8 * IMAGE_BYTES];  /* the latest that it may have been kept at; 0: never */
static uint64_t opened_us, low_us; /* low_us: of the latest meeting of two low pads */
static bool has_opened, was_latched;

static char line[LINE_MOST + 1];
static unsigned line_length;
static bool line_flawed;

static uint64_t fed_us;
static bool lines_pending;

static uint16_t current_ma;
static uint64_t current_since_us, supply_since_us, rail_since_us;
static bool faulty_switch, rail_down;

static void breach(const char *what)
{
    fprintf(stderr, "breach at %llu us: %s\n", (unsigned long long)machine_now_us(), what);
    abort();
}

static const struct configuration *limits(void) { return machine_configuration(); }

/* --- what was asked ----------------------------------------------------------------- */

static void prune(void)
{
    const struct machine_outputs *now = machine_outputs();
    asked.closed = now->closed;
    asked.supply = now->supply;
    asked.reset_line = now->reset_line;
    asked.touches = asked.clears = asked.keeps = false;
}

void oracle_restart(void)
{
    memset(&asked, 0, sizeof asked);
    memset(&last, 0, sizeof last);
    line_length = 0;
    line_flawed = lines_pending = has_opened = was_latched = false;
    fed_us = machine_now_us();
    const image_t *closed = &machine_outputs()->closed;
    if (!image_is_empty(closed) || (machine_outputs()->supply && !faulty_switch))
        breach("something is on after a start");
    last = *machine_outputs();
}

void oracle_deaf(void) { line_flawed = true; }

void oracle_sent(uint8_t byte, enum machine_flaw flaw)
{
    if (byte == '\r' || byte == '\t')
        byte = ' ';
    if (flaw != FLAW_NONE || (byte != '\n' && (byte < ' ' || byte > '~')))
        line_flawed = true;
    if (byte == '\n' && flaw != FLAW_FRAME) {
        line[line_length] = 0;
        if (!line_flawed) {
            asked_in(line, &asked);
            lines_pending = true;
            fed_us = machine_now_us() + BYTE_US * (machine_wire_left() + 1);
        }
        line_flawed = false;
        line_length = 0;
    } else if (line_length == LINE_MOST) {
        line_flawed = true;
    } else {
        line[line_length++] = byte;
    }
}

static bool may_close(unsigned bit)
{
    return image_has(&asked.closed, bit) || (asked.touches && image_has(&asked.touch, bit));
}

/* --- what is closed ----------------------------------------------------------------- */

static bool is_path(unsigned bit) { return bit < BIT_KEYS || bit >= BIT_AUX; }
static bool is_timed(unsigned bit)
{
    return bit < BIT_SERIES || (bit >= BIT_KEYS && bit < BIT_AUX) || bit >= BIT_AUX + AUX_HOLD_FIRST;
}

/* Places of a bus on which low pads are closed. */
static unsigned low_on(const image_t *now, unsigned bus)
{
    unsigned found = 0;
    for (unsigned pad = 0; pad < PADS_MAX; pad++)
        found += image_has(now, bus + pad) && limits()->low[pad / 8] >> pad % 8 & 1;
    return found;
}

static bool meets_low(const image_t *now)
{
    return low_on(now, BIT_BUS_1) && low_on(now, BIT_BUS_2);
}

static double lead_on(const image_t *now, unsigned bus)
{
    return low_on(now, bus) ? limits()->low_lead_ohm : limits()->lead_ohm;
}

static void look_at_low(const image_t *now, uint64_t now_us)
{
    unsigned closed[2] = {0, 0}, low[2] = {low_on(now, BIT_BUS_1), low_on(now, BIT_BUS_2)};
    for (unsigned pad = 0; pad < 2 * PADS_MAX; pad++)
        closed[pad / PADS_MAX] += image_has(now, pad);
    for (unsigned bus = 0; bus < 2; bus++)
        if (low[bus] && closed[bus] > 1)
            breach("a low pad shares its bus");
    if (!meets_low(now))
        return;
    if (!meets_low(&last.closed)) {
        oracle_low++;
        low_us = now_us;
    }
    for (unsigned pad = 0; pad < PADS_MAX; pad++)
        if (image_has(now, BIT_BUS_1 + pad) && image_has(now, BIT_BUS_2 + pad))
            breach("a low pad is on both buses");
    if (!limits()->limiter)
        breach("two low pads meet without a limiter");
    if (now->series > 1 || now->aux)
        breach("two low pads meet over more than the limiter");
    if (!last.supply || faulty_switch ||
        now_us < supply_since_us + limits()->blanking_ms * 1000)
        breach("two low pads meet before the supply is up");
}

/* Which pads a bus joins, and the worst of them, by conductances: its lead, then all the others
 * of its bus beside the way to the other bus. */
static void look_at_group(const image_t *now, unsigned own, unsigned other, bool joined)
{
    double lead = lead_on(now, own), far = lead_on(now, other), mates = 0, across = 0, both = 0;
    double least = 1e12;
    unsigned channels = 0;
    for (unsigned pad = 0; pad < PADS_MAX; pad++) {
        mates += image_has(now, own + pad);
        across += image_has(now, other + pad);
        both += image_has(now, own + pad) && image_has(now, other + pad);
    }
    for (unsigned n = 0; n < SERIES_CHANNELS; n++)
        if (now->series >> n & 1) {
            channels++;
            if (limits()->bank[n] * 100.0 < least)
                least = limits()->bank[n] * 100.0;
        }
    if (mates < 1)
        return;
    if (both) {
        mates += across - both;
        across = 0;
    }
    double siemens = (mates - 1) / lead;
    if (across && joined)
        siemens += 1 / (least / channels + far / across);
    if (siemens == 0)
        return;
    if (limits()->supply_mv * 1000.0 / (lead + 1 / siemens) > limits()->pad_ua * 1.0001 + 1)
        breach("a pad of a group can carry too much");
}

/* Every pair of rail pads, one by one: what joins them? */
static void look_at_rails(const image_t *now)
{
    bool unsafe_series = now->series & ~limits()->rail_series || now->series & (now->series - 1);
    bool shorted = false;
    for (unsigned n = 0; n < BUS_BYTES; n++)
        shorted |= (now->bus1[n] & now->bus2[n]) != 0;
    for (unsigned a = 0; a < 2 * PADS_MAX; a++)
        for (unsigned b = a + 1; b < 2 * PADS_MAX; b++) {
            unsigned pad_a = a % PADS_MAX, pad_b = b % PADS_MAX;
            if (pad_a == pad_b || !image_has(now, a) || !image_has(now, b) ||
                !(limits()->rails[pad_a / 8] >> pad_a % 8 & 1) ||
                !(limits()->rails[pad_b / 8] >> pad_b % 8 & 1))
                continue;
            if (a / PADS_MAX == b / PADS_MAX)
                breach("two rail pads on one bus");
            if (unsafe_series || shorted)
                breach("two rail pads joined");
        }
}

static void look_at_closed(const image_t *now, uint64_t now_us)
{
    unsigned pads = 0;
    bool any_rail = false, opens = false;
    for (unsigned bit = 0; bit < 8 * IMAGE_BYTES; bit++) {
        bool is = image_has(now, bit), was = image_has(&last.closed, bit);
        pads += is && bit < BIT_SERIES;
        if (is && bit < BIT_SERIES) {
            unsigned pad = bit % PADS_MAX;
            if (limits()->forbidden[pad / 8] >> pad % 8 & 1)
                breach("a forbidden pad is closed");
            any_rail |= limits()->rails[pad / 8] >> pad % 8 & 1;
        }
        if (is && !was) {
            oracle_closings++;
            since_us[bit] = now_us;
            kept_us[bit] = 0;
            if (!may_close(bit))
                breach("closed, and no command asked for it");
            if (machine_is_latched() && !asked.clears)
                breach("closed while latched");
            if (is_path(bit) && has_opened && now_us - opened_us < RELAY_BREAK_US)
                breach("closed before what opened had broken");
        }
        opens |= was && !is && is_path(bit);
    }
    if (opens) {
        opened_us = now_us;
        has_opened = true;
    }
    if (pads > limits()->closures || pads > CLOSURES_MAX)
        breach("more pads than the maximum");
    look_at_low(now, now_us);
    if (!meets_low(now)) {
        look_at_group(now, BIT_BUS_1, BIT_BUS_2, now->series);
        look_at_group(now, BIT_BUS_2, BIT_BUS_1, now->series);
    }
    if (any_rail)
        look_at_rails(now);
}

static void watch(const struct machine_outputs *now, uint64_t now_us)
{
    if (now->supply && now->bleed && !faulty_switch)
        breach("supply and bleed together");
    if (now->supply && !last.supply)
        supply_since_us = now_us;
    if (now->supply && !last.supply && !faulty_switch) {
        oracle_supplyings++;
        if (!asked.supply)
            breach("supply on, and no command asked for it");
        if (machine_is_latched() && !asked.clears)
            breach("supply on while latched");
    }
    if (now->reset_line && !last.reset_line && !asked.reset_line)
        breach("reset line pulled, and no command asked for it");
    if (memcmp(&now->closed, &last.closed, sizeof last.closed))
        look_at_closed(&now->closed, now_us);
    last = *now;
}

/* --- as time passes ------------------------------------------------------------------ */

void oracle_current_ma(uint16_t ma)
{
    current_ma = ma;
    current_since_us = machine_now_us();
}

/* What a faulty switch did is no measure of when the firmware switched on. */
void oracle_faulty_switch(bool is_faulty)
{
    if (faulty_switch)
        supply_since_us = machine_now_us();
    faulty_switch = is_faulty;
}

void oracle_rail_down(bool is_down)
{
    rail_down = is_down;
    rail_since_us = machine_now_us();
}

static uint64_t later(uint64_t a, uint64_t b) { return a > b ? a : b; }

static void look_at_supply(uint64_t now_us)
{
    uint32_t gap_us = machine_longest_gap_us();
    if (gap_us > GAP_US)
        breach("the heartbeat paused with the supply on");
    if (!last.supply || faulty_switch)
        return;
    if (rail_down && now_us > later(supply_since_us + limits()->blanking_ms * 1000,
                                    rail_since_us) + RISE_US)
        breach("the supply stays on over a rail that is down");
    if (current_ma > FULL_MA && now_us > later(supply_since_us, current_since_us) + FULL_US)
        breach("full scale for longer than a rail takes to charge");
}

static void look_at_current(uint64_t now_us)
{
    if (!last.supply || faulty_switch)
        return;
    uint64_t from_us = supply_since_us + limits()->blanking_ms * 1000 + 1000;
    if (current_since_us > from_us)
        from_us = current_since_us;
    if (now_us <= from_us)
        return;
    if (current_ma > limits()->peak_ma + 2 && now_us - from_us > TRIP_US)
        breach("over the peak limit for a millisecond");
    if (current_ma > limits()->average_ma + 5 && current_ma > limits()->average_ma * 1.2 &&
        now_us - from_us > AVERAGE_US)
        breach("over the average limit for a second");
}

void oracle_look(void)
{
    uint64_t now_us = machine_now_us();
    bool has_bytes = machine_wire_left() || uart_has_input();
    if (has_bytes && lines_pending)
        fed_us = now_us;
    if (!has_bytes)
        lines_pending = false;

    bool on = (last.supply && !faulty_switch) || last.reset_line || !image_is_empty(&last.closed);
    if (on && now_us > fed_us && now_us - fed_us > limits()->deadman_ms * 1000 + SLACK_US)
        breach("on after the dead-man time of silence");
    for (unsigned bit = 0; on && bit < 8 * IMAGE_BYTES; bit++) {
        if (asked.keeps && bit < BIT_SERIES)
            kept_us[bit] = now_us;
        uint64_t hold_us = limits()->hold_s * 1000000ULL, closure_us = limits()->closure_ms * 1000ULL;
        uint64_t until_us = since_us[bit] + (bit < BIT_AUX ? closure_us : hold_us);
        if (kept_us[bit]) /* or the keeping was refused */
            until_us = later(until_us, kept_us[bit] + hold_us);
        if (is_timed(bit) && image_has(&last.closed, bit) && now_us > until_us + SLACK_US)
            breach("closed for longer than the closure time");
    }
    if (meets_low(&last.closed) && now_us > low_us + limits()->low_ms * 1000 + LOW_SLACK_US)
        breach("two low pads meet for longer than their time");
    look_at_current(now_us);
    look_at_supply(now_us);

    bool latched = machine_is_latched();
    if (was_latched && !latched && !asked.clears)
        breach("unlatched, and no command asked for it");
    oracle_latchings += latched && !was_latched;
    was_latched = latched;
    if (latched && !asked.clears && on)
        breach("on while latched");
    if (machine_is_idle())
        prune();
    machine_watch = watch;
}
