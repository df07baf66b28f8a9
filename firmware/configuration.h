/* What the controller is told once about its rig and its limits, kept in EEPROM.
 *
 * Layout, byte by byte; words have their low byte first. The CRC covers bytes 0-65: CRC-16 of
 * polynomial 0x1021, start 0xffff, highest bit first, nothing reflected or inverted. In EEPROM it
 * follows at 66-67, low byte first.
 *
 *    0      layout, 3
 *    1      pads fitted
 *    2      most pads closed at once
 *    3-10   forbidden pads: pad n is bit (n - 1) % 8 of byte (n - 1) / 8
 *   11-18   rail pads, the same
 *   19      series channels that may join two rail pads: channel n is bit n - 1
 *   20-21   dead-man, ms
 *   22-23   longest closure, ms
 *   24-25   peak limit of the supply current, mA
 *   26-27   average limit, mA
 *   28-29   blanking of both limits after switching on, ms
 *   30-31   longest closure of a hold channel outside touches, s
 *   32-33   resistor of each lead, ohm
 *   34-35   most that the toy's supply can be, mV
 *   36-37   most that may flow through a pad, uA
 *   38-53   series bank, in steps of 100 ohm, rounded down, channel 1 first
 *   54-55   longest closure of two low pads, ms
 *   56      all of a low pad's lead, ohm
 *   57      1: the current limiter is fitted in series channel 1's place
 *   58-65   low pads, as the forbidden ones; none of them forbidden or a rail, and none at all
 *           without the limiter
 */
#ifndef CONFIGURATION_H
#define CONFIGURATION_H

#include <stdbool.h>
#include <stdint.h>

#include "image.h"

#define CONFIGURATION_LAYOUT 3

struct configuration {
    uint8_t layout;
    uint8_t pads, closures;
    uint8_t forbidden[BUS_BYTES], rails[BUS_BYTES];
    uint8_t rail_series;
    uint16_t deadman_ms, closure_ms;
    uint16_t peak_ma, average_ma, blanking_ms;
    uint16_t hold_s;
    uint16_t lead_ohm, supply_mv, pad_ua;
    uint16_t bank[SERIES_CHANNELS];
    uint16_t low_ms;
    uint8_t low_lead_ohm, limiter;
    uint8_t low[BUS_BYTES];
};

_Static_assert(sizeof(struct configuration) == 66, "the host computes the CRC of this layout");

#define DEADMAN_LEAST_MS 500
#define DEADMAN_USUAL_MS 3000
#define DEADMAN_MOST_MS 10000
#define CLOSURE_LEAST_MS 100
#define CLOSURE_MOST_MS 10000
#define CURRENT_LEAST_MA 10
#define CURRENT_MOST_MA 450
#define PEAK_USUAL_MA 300
#define AVERAGE_USUAL_MA 150
#define BLANKING_USUAL_MS 100
#define BLANKING_MOST_MS 500
#define HOLD_USUAL_S 60
#define HOLD_MOST_S 3600 /* the clock wraps after 4294 s */
#define LEAD_LEAST_OHM 0
#define LEAD_USUAL_OHM 1500 /* as the guide's parts list has them */
#define LEAD_MOST_OHM 65535
#define SUPPLY_LEAST_MV 1000
#define SUPPLY_USUAL_MV 4800 /* three fresh cells */
#define SUPPLY_MOST_MV 12800
#define PAD_LEAST_UA 20
#define PAD_USUAL_UA 2000
#define PAD_MOST_UA 10000
#define LOW_LEAST_MS 10
#define LOW_USUAL_MS 100
#define LOW_MOST_MS 2000
#define LOW_LEAD_USUAL_OHM 32 /* 33 ohm beside the 1.2 or 1.5 kohm of any lead, rounded down */
#define LOW_LEAD_MOST_OHM 255
#define BANK_STEP_OHM 100
#define BANK_MOST_OHM 6500000L

extern struct configuration configuration; /* in force; written while nothing is on */

bool configuration_load(void); /* false: EEPROM held none, the defaults are in force */
bool configuration_is_known(void); /* it was loaded or saved since the start */
void configuration_default(void);
void configuration_save(void); /* takes up to 0.24 s, with the watchdog fed */
bool configuration_is_stored(void);
bool configuration_shares(const uint8_t *pads, const uint8_t *others); /* any pad is in both */
uint16_t configuration_crc(void);

#endif
