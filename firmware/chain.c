#include "chain.h"

#include "pins.h"

/* Shifts one image in, last bit first, and compares what falls out at the far end with
 * `expected`, the image shifted before it. */
static bool shift(const image_t *image, const image_t *expected)
{
    bool same = true;
    for (uint8_t n = CHAIN_BYTES; n-- > 0;) {
        uint8_t out = image->byte[n], in = 0;
        for (uint8_t bit = 0x80; bit; bit >>= 1) {
            if (pin_chain_read())
                in |= bit;
            pin_chain_data(out & bit);
            pin_chain_clock();
        }
        if (expected && in != expected->byte[n])
            same = false;
    }
    return same;
}

bool chain_load(const image_t *image)
{
    shift(image, 0);
    return shift(image, image);
}

void chain_latch(void) { pin_chain_latch(); }

void chain_enable(void) { pin_drivers_on(); }

void chain_disable(void) { pin_drivers_off(); }

bool chain_test(void)
{
    image_t pattern;
    for (uint8_t round = 0; round < 2; round++) {
        for (uint8_t n = 0; n < CHAIN_BYTES; n++)
            pattern.byte[n] = (round ? 0xa5 : 0x5a) ^ n;
        if (!chain_load(&pattern))
            return false;
    }
    return true;
}
