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

static int16_t set_pads(uint8_t *into)
{
    uint8_t pads[BUS_BYTES];
    TRY(parse_pads(pads));
    TRY(finish());
    memcpy(into, pads, BUS_BYTES);
    return 0;
}

static int16_t answer_pads(const uint8_t *pads)
{
    TRY(parse_end());
    reply_pads(pads);
    return 0;
}

int16_t configure_forbidden(void) { return set_pads(configuration.forbidden); }
int16_t configured_forbidden(void) { return answer_pads(configuration.forbidden); }
int16_t configure_rails(void) { return set_pads(configuration.rails); }
int16_t configured_rails(void) { return answer_pads(configuration.rails); }

int16_t configure_rail_series(void)
{
    uint8_t channels;
    TRY(parse_bits(SERIES_CHANNELS, word_none, 0, &channels));
    TRY(finish());
    configuration.rail_series = channels;
    return 0;
}

int16_t configured_rail_series(void)
{
    TRY(parse_end());
    reply_begin();
    if (!configuration.rail_series)
        TEXT("NONE");
    bool any = false;
    for (uint8_t n = 0; n < SERIES_CHANNELS; n++) {
        if (!(configuration.rail_series >> n & 1))
            continue;
        if (any)
            reply_char(',');
        any = true;
        reply_number(n + 1);
    }
    return 0;
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

/* --- times and limits ------------------------------------------------------------------- */

static int16_t set_quantity(enum unit unit, uint16_t least, uint16_t most, uint16_t *into)
{
    int32_t value;
    TRY(parse_quantity(unit, least, most, &value));
    TRY(finish());
    *into = value;
    return 0;
}

int16_t deadman(void)
{
    return set_quantity(UNIT_MS, DEADMAN_LEAST_MS, DEADMAN_MOST_MS, &configuration.deadman_ms);
}

int16_t deadman_query(void)
{
    return answer_quantity(configuration.deadman_ms, DEADMAN_LEAST_MS, DEADMAN_MOST_MS);
}

int16_t closure_time(void)
{
    return set_quantity(UNIT_MS, CLOSURE_LEAST_MS, CLOSURE_MOST_MS, &configuration.closure_ms);
}

int16_t closure_time_query(void)
{
    return answer_quantity(configuration.closure_ms, CLOSURE_LEAST_MS, CLOSURE_MOST_MS);
}

int16_t peak_limit(void)
{
    return set_quantity(UNIT_MA, CURRENT_LEAST_MA, CURRENT_MOST_MA, &configuration.peak_ma);
}

int16_t average_limit(void)
{
    return set_quantity(UNIT_MA, CURRENT_LEAST_MA, CURRENT_MOST_MA, &configuration.average_ma);
}

int16_t blanking(void)
{
    return set_quantity(UNIT_MS, 0, BLANKING_MOST_MS, &configuration.blanking_ms);
}

int16_t blanking_query(void)
{
    return answer_quantity(configuration.blanking_ms, 0, BLANKING_MOST_MS);
}

/* Limits are told in the unit of the command that sets them, as the dead-man is. */
int16_t peak_limit_query(void)
{
    return answer_quantity(configuration.peak_ma, CURRENT_LEAST_MA, CURRENT_MOST_MA);
}

int16_t average_limit_query(void)
{
    return answer_quantity(configuration.average_ma, CURRENT_LEAST_MA, CURRENT_MOST_MA);
}

int16_t current_tripped(void) { return answer(guard_current_tripped()); }
