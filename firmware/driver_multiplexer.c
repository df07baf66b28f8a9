/* 16:1 multiplexers, up to four for each bus: one register a bus holds the address in bits 0-3
 * and the four enable-nots in bits 4-7, which pull-ups hold high while the outputs float. */
#include "driver.h"

#include "chain.h"

#define REGISTERS (HEADER_REGISTERS + 2)
#define DISABLED 0xf0
#define NONE 0xff

const char driver_name[] PROGMEM = "MULTIPLEXER";
const struct driver driver = {
    .pads = PADS_MAX, .bus_pads = 1, .make_us = 10, .break_us = 10, .most_mv = 4600};

uint8_t driver_registers(void) { return REGISTERS; }

static uint8_t closed_pad(const uint8_t *bus)
{
    for (uint8_t n = 0; n < BUS_BYTES; n++) {
        uint8_t pad = 8 * n;
        for (uint8_t bits = bus[n]; bits; bits >>= 1, pad++)
            if (bits & 1)
                return pad;
    }
    return NONE;
}

static uint8_t word(uint8_t pad, bool enabled)
{
    if (pad == NONE)
        return DISABLED;
    uint8_t chip = 0x10 << (pad / 16);
    return (enabled ? DISABLED & ~chip : DISABLED) | pad % 16;
}

/* The address stands still whenever an enable-not moves, so that no other pad is connected
 * for the moment in which the bits change. */
bool driver_write(const image_t *now, const image_t *wanted)
{
    uint8_t bytes[REGISTERS], last[2];
    bool drive = !image_is_empty(wanted), closes = false;
    chain_header(bytes, wanted);
    for (uint8_t bus = 0; bus < 2; bus++) {
        uint8_t old = closed_pad(bus ? now->bus2 : now->bus1);
        uint8_t new = closed_pad(bus ? wanted->bus2 : wanted->bus1);
        bytes[HEADER_REGISTERS + bus] = word(new == NONE ? old : new, new == old);
        if (new == NONE)
            bytes[HEADER_REGISTERS + bus] |= DISABLED;
        closes |= new != NONE && new != old;
        last[bus] = word(new, true);
    }
    if (!chain_load(bytes, REGISTERS))
        return false;
    chain_latch();
    if (drive)
        chain_enable();
    if (!closes)
        return true;
    for (uint8_t bus = 0; bus < 2; bus++)
        if (last[bus] != DISABLED)
            bytes[HEADER_REGISTERS + bus] = last[bus];
    if (!chain_load(bytes, REGISTERS))
        return false;
    chain_latch();
    return true;
}
