#include "chain.h"

#include <util/atomic.h>

#include "current.h"
#include "pins.h"

void chain_header(uint8_t *bytes, const image_t *image)
{
    bytes[0] = image->series;
    bytes[1] = image->keys;
    bytes[2] = image->aux;
}

/* Shifts bytes in, last bit first, and compares what falls out at the far end with them: the
 * second time they must be what the first time put in. */
static bool shift(const uint8_t *bytes, uint8_t registers)
{
    bool same = true;
    for (uint8_t n = registers; n-- > 0;) {
        uint8_t out = bytes[n], in = 0;
        for (uint8_t bit = 0x80; bit; bit >>= 1) {
            if (pin_chain_read())
                in |= bit;
            pin_chain_data(out & bit);
            pin_chain_clock();
        }
        if (in != out)
            same = false;
    }
    return same;
}

bool chain_load(const uint8_t *bytes, uint8_t registers)
{
    shift(bytes, registers);
    return shift(bytes, registers);
}

void chain_latch(void) { pin_chain_latch(); }

void chain_enable(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (!current_cut() && !current_has_spilt())
            pin_drivers_on();
    }
}

void chain_disable(void) { pin_drivers_off(); }

bool chain_test(uint8_t registers)
{
    uint8_t pattern[REGISTERS_MAX];
    for (uint8_t round = 0; round < 2; round++) {
        /* No two bytes alike, so that a shift by whole registers shows as well. */
        for (uint8_t n = 0; n < registers; n++)
            pattern[n] = (round ? 0xa5 : 0x5a) ^ n;
        if (!chain_load(pattern, registers))
            return false;
    }
    return true;
}
