/* Analog crosspoints of 8 lines by 16 pads, up to four. Two registers hold the address word;
 * each switch is set on its own, by a strobe. The chips' reset is the chain's enable-not line,
 * so whatever turns the outputs off opens every switch. */
#include "driver.h"

#include "chain.h"
#include "pins.h"

#define REGISTERS (HEADER_REGISTERS + 2)
#define LINE_FIRST 4 /* bit number of the line; line 0 is bus 1, line 1 is bus 2 */
#define CLOSE 0x80

const char driver_name[] PROGMEM = "CROSSPOINT";
const struct driver driver = {
    .pads = PADS_MAX, .bus_pads = CLOSURES_MAX, .make_us = 10, .break_us = 10, .most_mv = 11400};

uint8_t driver_registers(void) { return REGISTERS; }

static bool load(uint8_t *bytes, uint8_t address, uint8_t chips)
{
    bytes[HEADER_REGISTERS] = address;
    bytes[HEADER_REGISTERS + 1] = chips;
    if (!chain_load(bytes, REGISTERS))
        return false;
    chain_latch();
    return true;
}

bool driver_write(const image_t *now, const image_t *wanted)
{
    uint8_t bytes[REGISTERS];
    chain_header(bytes, wanted);
    if (!load(bytes, 0, 0))
        return false;
    if (image_is_empty(wanted))
        return true; /* the outputs are off, and the chips in reset */
    chain_enable();
    for (uint8_t bit = 0; bit < BIT_SERIES; bit++) {
        bool close = image_has(wanted, bit);
        if (close == image_has(now, bit))
            continue;
        uint8_t pad = bit % PADS_MAX;
        uint8_t address = pad % 16 | bit / PADS_MAX << LINE_FIRST | (close ? CLOSE : 0);
        if (!load(bytes, address, 1 << (pad / 16)))
            return false;
        pin_strobe();
    }
    return true;
}
