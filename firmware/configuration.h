/* What the controller is told once about its rig and its limits, kept in EEPROM.
 *
 * Layout, byte by byte; words have their low byte first. The CRC covers bytes 0-29: CRC-16 of
 * polynomial 0x1021, start 0xffff, highest bit first, nothing reflected or inverted. In EEPROM it
 * follows at 30-31, low byte first.
 *
 *    0      layout, 1
 *    1      pads fitted
 *    2      most pads closed at once
 *    3-10   forbidden pads: pad n is bit (n - 1) % 8 of byte (n - 1) / 8
 *   11-18   rail pads, the same
 *   19      series channels that may join two rail pads: channel n is bit n - 1
 *   20-21   dead-man, ms
 *   22-23   longest closure, ms
 *   24-25   peak limit of the supply current, mA
 *   26-27   average limit, mA
 *   28-29   blanking of the peak limit after switching on, ms
 */
#ifndef CONFIGURATION_H
#define CONFIGURATION_H

#include <stdbool.h>
#include <stdint.h>

#include "image.h"

#define CONFIGURATION_LAYOUT 1

struct configuration {
    uint8_t layout;
    uint8_t pads, closures;
    uint8_t forbidden[BUS_BYTES], rails[BUS_BYTES];
    uint8_t rail_series;
    uint16_t deadman_ms, closure_ms;
    uint16_t peak_ma, average_ma, blanking_ms;
};

_Static_assert(sizeof(struct configuration) == 30, "the host computes the CRC of this layout");

#define DEADMAN_LEAST_MS 500
#define DEADMAN_MOST_MS 10000
#define CLOSURE_LEAST_MS 100
#define CLOSURE_MOST_MS 10000
#define CURRENT_LEAST_MA 10
#define CURRENT_MOST_MA 450
#define BLANKING_MOST_MS 2000

extern struct configuration configuration; /* in force; written while nothing is on */

bool configuration_load(void); /* false: EEPROM held none, the defaults are in force */
void configuration_default(void);
void configuration_save(void); /* takes up to 0.12 s, with the watchdog fed */
bool configuration_is_stored(void);
uint16_t configuration_crc(void);

#endif
