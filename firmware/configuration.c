#include "configuration.h"

#include <avr/eeprom.h>
#include <avr/pgmspace.h>
#include <string.h>

#include "boot.h"
#include "driver.h"

struct stored {
    struct configuration configuration;
    uint16_t crc;
};

#define LAYOUT_BEING_WRITTEN 0xff

struct configuration configuration;

static bool is_known;

static const struct configuration defaults PROGMEM = {
    .layout = CONFIGURATION_LAYOUT,
    .pads = 24,
    .closures = CLOSURES_MAX,
    .deadman_ms = DEADMAN_USUAL_MS,
    .closure_ms = CLOSURE_MOST_MS,
    .peak_ma = PEAK_USUAL_MA,
    .average_ma = AVERAGE_USUAL_MA,
    .blanking_ms = BLANKING_USUAL_MS,
    .hold_s = HOLD_USUAL_S,
    .lead_ohm = LEAD_USUAL_OHM,
    .supply_mv = SUPPLY_USUAL_MV,
    .pad_ua = PAD_USUAL_UA,
    .low_ms = LOW_USUAL_MS,
    .low_lead_ohm = LOW_LEAD_USUAL_OHM,
};

static uint16_t crc_of(const struct configuration *of)
{
    uint16_t crc = 0xffff;
    const uint8_t *bytes = (const uint8_t *)of;
    for (uint8_t n = 0; n < sizeof *of; n++) {
        crc ^= (uint16_t)bytes[n] << 8;
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1;
    }
    return crc;
}

uint16_t configuration_crc(void) { return crc_of(&configuration); }

void configuration_default(void) { memcpy_P(&configuration, &defaults, sizeof configuration); }

static void read(struct stored *stored)
{
    eeprom_read_block(stored, (const void *)EEPROM_CONFIGURATION, sizeof *stored);
}

static bool is_between(uint16_t value, uint16_t least, uint16_t most)
{
    return value >= least && value <= most;
}

bool configuration_shares(const uint8_t *pads, const uint8_t *others)
{
    for (uint8_t n = 0; n < BUS_BYTES; n++)
        if (pads[n] & others[n])
            return true;
    return false;
}

/* A CRC only says that nothing changed since it was written; another firmware, or another
 * driver, may have written what this one must not take. */
static bool is_sound(const struct configuration *c)
{
    return c->layout == CONFIGURATION_LAYOUT && c->pads % 8 == 0 &&
           is_between(c->pads, 8, driver.pads) && is_between(c->closures, 1, CLOSURES_MAX) &&
           is_between(c->deadman_ms, DEADMAN_LEAST_MS, DEADMAN_MOST_MS) &&
           is_between(c->closure_ms, CLOSURE_LEAST_MS, CLOSURE_MOST_MS) &&
           is_between(c->peak_ma, CURRENT_LEAST_MA, CURRENT_MOST_MA) &&
           is_between(c->average_ma, CURRENT_LEAST_MA, CURRENT_MOST_MA) &&
           c->blanking_ms <= BLANKING_MOST_MS && is_between(c->hold_s, 1, HOLD_MOST_S) &&
           is_between(c->supply_mv, SUPPLY_LEAST_MV, SUPPLY_MOST_MV) &&
           is_between(c->pad_ua, PAD_LEAST_UA, PAD_MOST_UA) &&
           is_between(c->low_ms, LOW_LEAST_MS, LOW_MOST_MS) && c->limiter <= 1 &&
           (c->limiter || !configuration_shares(c->low, c->low)) &&
           !configuration_shares(c->low, c->forbidden) && !configuration_shares(c->low, c->rails);
}

bool configuration_load(void)
{
    struct stored stored;
    read(&stored);
    if (stored.crc == crc_of(&stored.configuration) && is_sound(&stored.configuration)) {
        configuration = stored.configuration;
        return is_known = true;
    }
    configuration_default();
    return is_known = false;
}

bool configuration_is_known(void) { return is_known; }

static void write(uint8_t place, uint8_t value)
{
    boot_feed_watchdog(); /* a byte takes 3.4 ms */
    eeprom_update_byte((uint8_t *)EEPROM_CONFIGURATION + place, value);
}

/* The first byte is spoilt first and written last: what a power failure leaves in between can
 * never pass for whole, whatever its CRC. */
void configuration_save(void)
{
    struct stored wanted = {configuration, configuration_crc()};
    const uint8_t *bytes = (const uint8_t *)&wanted;
    is_known = true;
    if (configuration_is_stored())
        return;
    write(0, LAYOUT_BEING_WRITTEN);
    for (uint8_t n = 1; n < sizeof wanted; n++)
        write(n, bytes[n]);
    write(0, bytes[0]);
}

bool configuration_is_stored(void)
{
    struct stored stored;
    read(&stored);
    return stored.crc == configuration_crc() &&
           !memcmp(&stored.configuration, &configuration, sizeof configuration);
}
