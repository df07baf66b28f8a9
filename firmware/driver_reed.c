/* Reed relays: a board of 8 pads has two registers, its pads on bus 1 and on bus 2. */
#include "driver.h"

#include "chain.h"
#include "configuration.h"

const char driver_name[] PROGMEM = "REED";
const struct driver driver = {
    .pads = PADS_MAX,
    .bus_pads = CLOSURES_MAX,
    .make_us = RELAY_MAKE_US,
    .break_us = RELAY_BREAK_US,
    .most_mv = 12000,
};

uint8_t driver_registers(void) { return HEADER_REGISTERS + 2 * (configuration.pads / 8); }

bool driver_write(const image_t *now, const image_t *wanted)
{
    (void)now;
    uint8_t bytes[REGISTERS_MAX];
    chain_header(bytes, wanted);
    for (uint8_t board = 0; board < BUS_BYTES; board++) {
        bytes[HEADER_REGISTERS + 2 * board] = wanted->bus1[board];
        bytes[HEADER_REGISTERS + 2 * board + 1] = wanted->bus2[board];
    }
    if (!chain_load(bytes, driver_registers()))
        return false;
    chain_latch();
    if (!image_is_empty(wanted))
        chain_enable();
    return true;
}
