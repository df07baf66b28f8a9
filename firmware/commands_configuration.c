/* Handlers of what is configured: SYSTem:CONFigure, the guard's times, the current limits.
 * All of it may change only while nothing is on, so that no closure outlives its permission. */
#include "commands.h"

#include <string.h>

#include "channels.h"
#include "configuration.h"
#include "driver.h"
#include "guard.h"

WORD(word_none, "NONE");

/* --- pads and closures ------------------------------------------------------------------ */

static int16_t finish(void)
{
    TRY(parse_end());
    return guard_is_anything_on() ? -221 : 0;
}

int16_t configure_pads(void)
{
    int32_t pads;
    TRY(parse_integer(8, driver.pads, &pads));
    if (pads % 8)
        return -222;
    TRY(finish());
    configuration.pads = pads;
    return 0;
}

int16_t configured_pads(void) { return answer(configuration.pads); }

int16_t configure_closures(void)
{
    int32_t closures;
    TRY(parse_integer(1, CLOSURES_MAX, &closures));
    TRY(finish());
    configuration.closures = closures;
    return 0;
}

int16_t configured_closures(void) { return answer(configuration.closures); }

/* No pad may be in it and in the others. */
static int16_t set_pads(uint8_t *into, const uint8_t *others, const uint8_t *more)
{
    uint8_t pads[BUS_BYTES];
    TRY(parse_pads(pads));
    TRY(finish());
    if (configuration_shares(pads, others) || configuration_shares(pads, more))
        return -221;
    if (into == configuration.low && !configuration.limiter && configuration_shares(pads, pads))
        return -221;
    memcpy(into, pads, BUS_BYTES);
    return 0;
}

static int16_t answer_pads(const uint8_t *pads)
{
    TRY(parse_end());
    reply_pads(pads);
    return 0;
}

int16_t configure_forbidden(void) { return set_pads(configuration.forbidden, configuration.low, configuration.low); }
int16_t configured_forbidden(void) { return answer_pads(configuration.forbidden); }
int16_t configure_rails(void) { return set_pads(configuration.rails, configuration.low, configuration.low); }
int16_t configured_rails(void) { return answer_pads(configuration.rails); }

int16_t configure_rail_series(void)
{
    uint8_t channels;
    TRY(parse_bits(SERIES_CHANNELS, word_none, 0, &channels));
    TRY(finish());
    configuration.rail_series = channels;
    return 0;
}

int16_t configured_rail_series(void) { return answer_bits(configuration.rail_series, word_none); }

/* --- low pads --------------------------------------------------------------------------- */

int16_t configure_low_pads(void)
{
    return set_pads(configuration.low, configuration.forbidden, configuration.rails);
}

int16_t configured_low_pads(void) { return answer_pads(configuration.low); }

int16_t configure_limiter(void)
{
    bool fitted;
    TRY(parse_boolean(&fitted));
    TRY(finish());
    if (!fitted && configuration_shares(configuration.low, configuration.low))
        return -221;
    configuration.limiter = fitted;
    return 0;
}

int16_t configured_limiter(void) { return answer(configuration.limiter); }

int16_t configure_low_leads(void)
{
    int32_t ohm;
    TRY(parse_quantity(UNIT_OHM, 0, LOW_LEAD_MOST_OHM, LOW_LEAD_USUAL_OHM, &ohm));
    TRY(finish());
    configuration.low_lead_ohm = ohm;
    return 0;
}

int16_t configured_low_leads(void)
{
    return answer_quantity(configuration.low_lead_ohm, 0, LOW_LEAD_MOST_OHM, LOW_LEAD_USUAL_OHM);
}

/* --- the stored configuration ----------------------------------------------------------- */

int16_t save_configuration(void)
{
    TRY(finish());
    configuration_save();
    return 0;
}

int16_t default_configuration(void)
{
    TRY(finish());
    configuration_default();
    return 0;
}

int16_t configuration_sum(void) { return answer(configuration_crc()); }
int16_t configuration_stored(void) { return answer(configuration_is_stored()); }

/* --- times, limits, resistors ----------------------------------------------------------- */

struct quantity {
    uint16_t *in_force;
    uint16_t least, most, usual;
    enum unit unit;
};

static int16_t set_quantity(const struct quantity *of)
{
    struct quantity q;
    int32_t value;
    memcpy_P(&q, of, sizeof q);
    TRY(parse_quantity(q.unit, q.least, q.most, q.usual, &value));
    TRY(finish());
    *q.in_force = value;
    return 0;
}

/* Told in the unit of the command that sets it. */
static int16_t answer_configured(const struct quantity *of)
{
    struct quantity q;
    memcpy_P(&q, of, sizeof q);
    return answer_quantity(*q.in_force, q.least, q.most, q.usual);
}

#define QUANTITY(command, query, field, unit, least, most, usual)                               \
    static const struct quantity of_##field PROGMEM = {&configuration.field, least, most, usual, \
                                                       unit};                                    \
    int16_t command(void) { return set_quantity(&of_##field); }                                  \
    int16_t query(void) { return answer_configured(&of_##field); }

QUANTITY(deadman, deadman_query, deadman_ms, UNIT_MS,
         DEADMAN_LEAST_MS, DEADMAN_MOST_MS, DEADMAN_USUAL_MS)
QUANTITY(closure_time, closure_time_query, closure_ms, UNIT_MS,
         CLOSURE_LEAST_MS, CLOSURE_MOST_MS, CLOSURE_MOST_MS)
QUANTITY(hold_time, hold_time_query, hold_s, UNIT_S, 1, HOLD_MOST_S, HOLD_USUAL_S)
QUANTITY(peak_limit, peak_limit_query, peak_ma, UNIT_MA,
         CURRENT_LEAST_MA, CURRENT_MOST_MA, PEAK_USUAL_MA)
QUANTITY(average_limit, average_limit_query, average_ma, UNIT_MA,
         CURRENT_LEAST_MA, CURRENT_MOST_MA, AVERAGE_USUAL_MA)
QUANTITY(blanking, blanking_query, blanking_ms, UNIT_MS, 0, BLANKING_MOST_MS, BLANKING_USUAL_MS)
QUANTITY(configure_leads, configured_leads, lead_ohm, UNIT_OHM,
         LEAD_LEAST_OHM, LEAD_MOST_OHM, LEAD_USUAL_OHM)
QUANTITY(configure_supply, configured_supply, supply_mv, UNIT_MV,
         SUPPLY_LEAST_MV, SUPPLY_MOST_MV, SUPPLY_USUAL_MV)
QUANTITY(configure_pad_limit, configured_pad_limit, pad_ua, UNIT_UA,
         PAD_LEAST_UA, PAD_MOST_UA, PAD_USUAL_UA)

QUANTITY(configure_low_time, configured_low_time, low_ms, UNIT_MS,
         LOW_LEAST_MS, LOW_MOST_MS, LOW_USUAL_MS)

int16_t configure_bank(void)
{
    uint16_t bank[SERIES_CHANNELS] = {0};
    uint8_t channel = 0;
    do {
        int32_t ohm;
        if (channel == SERIES_CHANNELS)
            return -108;
        TRY(parse_quantity(UNIT_OHM, 0, BANK_MOST_OHM, 0, &ohm));
        bank[channel++] = ohm / BANK_STEP_OHM;
    } while (parse_more());
    TRY(finish());
    memcpy(configuration.bank, bank, sizeof bank);
    return 0;
}

int16_t configured_bank(void)
{
    TRY(parse_end());
    reply_begin();
    for (uint8_t n = 0; n < SERIES_CHANNELS; n++) {
        if (n)
            reply_char(',');
        reply_number((uint32_t)configuration.bank[n] * BANK_STEP_OHM);
    }
    return 0;
}

int16_t current_tripped(void) { return answer(guard_current_tripped()); }
