#include "guard.h"

#include "adc.h"
#include "chain.h"
#include "clock.h"
#include "configuration.h"
#include "current.h"
#include "driver.h"
#include "errors.h"
#include "relays.h"
#include "reset_line.h"
#include "status.h"
#include "supply.h"
#include "touch.h"

#define HELD_MAX (CLOSURES_MAX + KEY_CHANNELS + HOLD_CHANNELS)
#define LIMITER 1 /* the series channels in whose place it is: the first alone */
#define CONVERTER_CHECK_US 4000 /* a conversion comes each 0.1 ms */

struct held {
    uint8_t bit;
    bool used : 1, kept : 1; /* kept: for as long as a hold channel may be */
    uint32_t since_us;
};

static struct held held[HELD_MAX];
static bool is_low; /* a low pad is closed on each bus, since then */
static uint32_t low_since_us;
static uint32_t fed_us, converter_us;
static int16_t latched; /* the error that did it, or 0 */

/* --- what may be closed together ---------------------------------------------------- */

static uint8_t count(uint8_t bits)
{
    uint8_t ones = 0;
    for (; bits; bits &= bits - 1)
        ones++;
    return ones;
}

/* Resistance of `ohm` beside `other`, rounded down; both below 2^16. */
static uint32_t beside(uint32_t ohm, uint32_t other_ohm)
{
    return ohm + other_ohm ? ohm - (ohm * ohm + ohm + other_ohm - 1) / (ohm + other_ohm) : 0;
}

/* A division takes 40 us, and most touches are of one pad on each bus. */
static uint32_t shared(uint32_t ohm, uint8_t by) { return by == 1 ? ohm : ohm / by; }

/* Between the buses: the least of the closed channels, shared by as many as are closed. */
static bool series_ohm(uint8_t series, uint32_t *ohm)
{
    uint16_t least = UINT16_MAX;
    for (uint8_t n = 0; n < SERIES_CHANNELS; n++)
        if (series >> n & 1 && configuration.bank[n] < least)
            least = configuration.bank[n];
    *ohm = series ? shared((uint32_t)least * BANK_STEP_OHM, count(series)) : 0;
    return series;
}

/* A bus: how many pads, low ones and rails are on it, and the lead of each. */
struct bus {
    uint8_t pads, low, rails;
    uint16_t lead_ohm;
};

static struct bus bus_of(const uint8_t *pads)
{
    struct bus bus = {.lead_ohm = configuration.lead_ohm};
    for (uint8_t n = 0; n < BUS_BYTES; n++) {
        if (!pads[n])
            continue;
        bus.pads += count(pads[n]);
        bus.low += count(pads[n] & configuration.low[n]);
        bus.rails += count(pads[n] & configuration.rails[n]);
    }
    if (bus.low) /* it is alone there, or refused */
        bus.lead_ohm = configuration.low_lead_ohm;
    return bus;
}

/* The worst pad has one end of the supply, all others have the other: its lead, then those of
 * its mates on its bus beside the way over the series to those across on the other. */
static bool carries_too_much(const struct bus *own, const struct bus *other, bool is_joined,
                             uint32_t series)
{
    uint32_t lead = own->lead_ohm, ohm = lead;
    uint8_t mates = own->pads - 1, across = other->pads;
    if (!own->pads || (!mates && !(is_joined && across)))
        return false;
    uint32_t over = is_joined && across ? series + shared(other->lead_ohm, across) : UINT16_MAX;
    if (!mates)
        ohm += over;
    else
        ohm += beside(shared(lead, mates), over < UINT16_MAX ? over : UINT16_MAX);
    return (uint64_t)ohm * configuration.pad_ua < (uint32_t)configuration.supply_mv * 1000;
}

/* Leads of low pads hold little back: two of them meet over the limiter alone, for a moment, while
 * the toy is supplied, and with nothing else that could feed them. */
static bool low_pads_conflict(const image_t *wanted, const struct bus *one, const struct bus *two,
                              bool any_on_both)
{
    if (!one->low && !two->low)
        return false;
    if (any_on_both || (one->low && one->pads > 1) || (two->low && two->pads > 1))
        return true;
    return one->low && two->low && (wanted->series & ~LIMITER || wanted->aux || !supply_is_up());
}

static bool has_pads(const image_t *image)
{
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        if (image->byte[n])
            return true;
    return false;
}

int16_t guard_allows(const image_t *wanted)
{
    if (!configuration_is_known() && !image_is_empty(wanted))
        return -315;
    if (!has_pads(wanted))
        return 0; /* soon told: a key's step waits for it */
    struct bus one = bus_of(wanted->bus1), two = bus_of(wanted->bus2);
    uint8_t both = 0;
    bool same_rail = true;
    uint32_t series;
    bool is_joined = series_ohm(wanted->series, &series);
    bool rails_meet = wanted->series & ~configuration.rail_series || count(wanted->series) > 1;
    for (uint8_t n = 0; n < BUS_BYTES; n++) {
        uint8_t bus1 = wanted->bus1[n], bus2 = wanted->bus2[n], rails = configuration.rails[n];
        if (!(bus1 | bus2))
            continue;
        if ((bus1 | bus2) & configuration.forbidden[n])
            return 108;
        if (n >= configuration.pads / 8)
            return -222;
        both += count(bus1 & bus2);
        same_rail &= (bus1 & rails) == (bus2 & rails);
    }
    if (both) /* such a pad joins the buses without any resistor */
        rails_meet = true;
    if (one.rails > 1 || two.rails > 1 || (one.rails && two.rails && !same_rail && rails_meet))
        return 109;
    if (one.pads + two.pads > configuration.closures || one.pads > driver.bus_pads ||
        two.pads > driver.bus_pads || low_pads_conflict(wanted, &one, &two, both))
        return -221;
    if (one.low && two.low)
        return 0; /* the limiter holds what flows */
    if (both) {
        one.pads += two.pads - both;
        two.pads = 0;
    }
    return carries_too_much(&one, &two, is_joined, series) ||
                   carries_too_much(&two, &one, is_joined, series)
               ? 113
               : 0;
}

bool guard_is_low(const image_t *image)
{
    return configuration.limiter && configuration_shares(image->bus1, configuration.low) &&
           configuration_shares(image->bus2, configuration.low);
}

bool guard_has_low(void) { return is_low; }

/* --- what is held ------------------------------------------------------------------- */

static bool is_hold(uint8_t bit) { return bit >= BIT_AUX + AUX_HOLD_FIRST; }

static bool is_timed(uint8_t bit)
{
    return bit < BIT_SERIES || (bit >= BIT_KEYS && bit < BIT_AUX) || is_hold(bit);
}

static void hold(uint8_t bit, uint32_t now_us)
{
    struct held *place = 0;
    for (uint8_t n = 0; n < HELD_MAX; n++) {
        if (held[n].used && held[n].bit == bit)
            return;
        if (!held[n].used && !place)
            place = &held[n];
    }
    /* guard_allows() keeps the count below the places there are */
    if (place)
        *place = (struct held){.bit = bit, .used = true, .since_us = now_us};
}

void guard_watch(const image_t *now, uint32_t now_us)
{
    bool was_low = is_low;
    is_low = guard_is_low(now);
    if (!was_low)
        low_since_us = now_us;
    for (uint8_t n = 0; n < HELD_MAX; n++)
        if (held[n].used && !image_has(now, held[n].bit))
            held[n].used = false;
    for (uint8_t n = 0; n < IMAGE_BYTES; n++) {
        if (!now->byte[n])
            continue;
        for (uint8_t bit = n * 8; bit < n * 8 + 8; bit++)
            if (is_timed(bit) && image_has(now, bit))
                hold(bit, now_us);
    }
}

bool guard_keep(uint32_t now_us)
{
    bool any = false;
    for (uint8_t n = 0; n < HELD_MAX; n++)
        if (held[n].used && held[n].bit < BIT_SERIES) {
            held[n].kept = true;
            held[n].since_us = now_us;
            any = true;
        }
    return any;
}

/* --- watching ----------------------------------------------------------------------- */

void guard_fed(uint32_t at_us) { fed_us = at_us; }

static void everything_off(void)
{
    relays_off();
    supply_off();
    reset_line_release();
}

void guard_off(void)
{
    everything_off();
    touch_abort();
}

bool guard_is_anything_on(void)
{
    return supply_is_on() || touch_is_busy() || reset_line_is_pulled() ||
           !image_is_empty(relays_now());
}

uint8_t guard_self_test(void)
{
    uint8_t failed = chain_test(driver_registers()) ? 0 : SELF_TEST_CHAIN;
    if (!adc_works())
        return failed | SELF_TEST_CONVERTER;
    if (image_is_empty(relays_now()) && adc_supply_mv() < RELAYS_LEAST_MV)
        failed |= SELF_TEST_SUPPLY;
    return failed;
}

/* Two low pads have a time of their own, which no keeping lengthens. */
static bool is_held_too_long(uint32_t now_us)
{
    uint32_t closure_us = configuration.closure_ms * 1000UL;
    uint32_t hold_us = configuration.hold_s * 1000000UL;
    if (is_low && clock_since(now_us, low_since_us) > configuration.low_ms * 1000UL)
        return true;
    for (uint8_t n = 0; n < HELD_MAX; n++)
        if (held[n].used &&
            clock_since(now_us, held[n].since_us) >
                (held[n].kept || is_hold(held[n].bit) ? hold_us : closure_us))
            return true;
    return false;
}

void guard_run(void)
{
    int16_t cut = current_cut();
    if (cut && !latched) {
        guard_latch(cut);
        return;
    }
    int16_t fault = supply_fault();
    if (fault) { /* whatever has latched before: the toy may still be supplied */
        guard_latch(fault);
        return;
    }
    if (!guard_is_anything_on())
        return;
    if (current_has_spilt()) {
        relays_off();
        touch_cut();
        current_unwatch();
        errors_push(114);
    }
    uint32_t now_us = clock_us();
    if (clock_since(now_us, converter_us) > CONVERTER_CHECK_US) {
        converter_us = now_us;
        if (!adc_has_run()) {
            guard_latch(-240);
            return;
        }
    }
    if (clock_since(now_us, fed_us) > configuration.deadman_ms * 1000UL) {
        guard_off();
        errors_push(101);
        return;
    }
    if (is_held_too_long(now_us)) {
        relays_off();
        touch_abort();
        errors_push(102);
    }
}

/* --- the latch ---------------------------------------------------------------------- */

static void show(void)
{
    status_condition(STATUS_QUESTIONABLE, QUES_GUARD, latched);
    status_condition(STATUS_QUESTIONABLE, QUES_CURRENT, guard_current_tripped());
}

void guard_latch(int16_t error)
{
    latched = error;
    show();
    everything_off();
    if (guard_current_tripped())
        touch_cut();
    else
        touch_abort();
    errors_push(error);
}

bool guard_is_latched(void) { return latched; }

bool guard_current_tripped(void) { return latched == 106 || latched == 107; }

/* A cut that came just now hasn't latched yet: it is told and latches after this, unlost. While
 * latched the supply is off, and then the interrupt cuts nothing. */
void guard_clear(void)
{
    if (!latched)
        return;
    current_clear();
    latched = 0;
    show();
}
