#include "relays.h"

#include <string.h>

#include "clock.h"
#include "guard.h"

static image_t now;
static uint32_t switched_us;
static uint32_t opened_us;
static bool opened_lately;

static bool is_empty(const image_t *image)
{
    for (uint8_t n = 0; n < CHAIN_BYTES; n++)
        if (image->byte[n])
            return false;
    return true;
}

static bool write(const image_t *image)
{
    bool empty = is_empty(image);
    if (empty) { /* the contacts open at once, before the shifting */
        chain_disable();
        switched_us = clock_us();
    }
    if (!chain_load(image)) {
        relays_off();
        guard_latch(-240);
        return false;
    }
    chain_latch();
    if (!empty) {
        chain_enable();
        switched_us = clock_us();
    }
    now = *image;
    guard_watch(&now, switched_us);
    return true;
}

void relays_init(void)
{
    memset(&now, 0, sizeof now);
    write(&now);
}

bool relays_set(const image_t *wanted)
{
    image_t kept;
    bool opens = false, opens_path = false, closes = false, closes_path = false;
    for (uint8_t n = 0; n < CHAIN_BYTES; n++) {
        kept.byte[n] = now.byte[n] & wanted->byte[n];
        if (now.byte[n] & ~wanted->byte[n]) {
            opens = true;
            opens_path |= n < KEY_BYTE;
        }
        if (wanted->byte[n] & ~now.byte[n]) {
            closes = true;
            closes_path |= n < KEY_BYTE;
        }
    }
    if (opens) {
        if (!write(&kept))
            return false;
        if (opens_path) {
            opened_us = switched_us;
            opened_lately = true;
        }
    }
    if (!closes)
        return true;
    if (closes_path && opened_lately) {
        while (clock_since(clock_us(), opened_us) < BREAK_US)
            ;
        opened_lately = false;
    }
    return write(wanted);
}

void relays_off(void)
{
    chain_disable();
    switched_us = clock_us();
    opened_us = switched_us;
    opened_lately = true;
    memset(&now, 0, sizeof now);
    guard_watch(&now, switched_us);
    /* The latches still hold the old image behind the disabled outputs; the next
     * write() replaces it, checked, before it enables them again. */
    if (chain_load(&now))
        chain_latch();
}

const image_t *relays_now(void) { return &now; }

uint32_t relays_switched_us(void) { return switched_us; }
