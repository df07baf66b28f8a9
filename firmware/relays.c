#include "relays.h"

#include <string.h>

#include "chain.h"
#include "clock.h"
#include "driver.h"
#include "guard.h"
#include "reset_line.h"

static image_t now;
static uint32_t switched_us;
static uint32_t opened_us;
static uint16_t break_us; /* what opened then needs so long; 0: it has broken */

bool image_is_empty(const image_t *image)
{
    for (uint8_t n = 0; n < IMAGE_BYTES; n++)
        if (image->byte[n])
            return false;
    return true;
}

static bool write(const image_t *image)
{
    bool empty = image_is_empty(image);
    if (empty) { /* the contacts open at once, before the shifting */
        chain_disable();
        switched_us = clock_us();
    }
    if (!driver_write(&now, image))
        return false;
    if (!empty)
        switched_us = clock_us();
    now = *image;
    guard_watch(&now, switched_us);
    return true;
}

void relays_init(void) { write(&now); }

static void opened(uint16_t us)
{
    if (break_us && clock_since(switched_us, opened_us) + us < break_us)
        return; /* something slower is still breaking */
    opened_us = switched_us;
    break_us = us;
}

/* The latch reports it, and opens everything. */
static int16_t failed(void)
{
    guard_latch(-240);
    return 0;
}

int16_t relays_set(const image_t *wanted)
{
    int16_t error = guard_allows(wanted);
    if (error)
        return error;
    image_t kept;
    bool opens = false, closes = false, closes_path = false;
    uint16_t breaks_us = 0;
    for (uint8_t n = 0; n < IMAGE_BYTES; n++) {
        bool is_path = n != BIT_KEYS / 8;
        kept.byte[n] = now.byte[n] & wanted->byte[n];
        if (now.byte[n] & ~wanted->byte[n]) {
            opens = true;
            uint16_t us = n < PAD_BYTES ? driver.break_us : RELAY_BREAK_US;
            if (is_path && us > breaks_us)
                breaks_us = us;
        }
        if (wanted->byte[n] & ~now.byte[n]) {
            closes = true;
            closes_path |= is_path;
        }
    }
    if (closes && reset_line_is_pulled())
        return -221;
    if (opens) {
        if (!write(&kept))
            return failed();
        if (breaks_us)
            opened(breaks_us);
    }
    if (!closes)
        return 0;
    if (closes_path && break_us) {
        while (clock_since(clock_us(), opened_us) < break_us)
            ;
        break_us = 0;
    }
    return write(wanted) ? 0 : failed();
}

void relays_off(void)
{
    chain_disable();
    switched_us = clock_us();
    opened(RELAY_BREAK_US);
    memset(&now, 0, sizeof now);
    guard_watch(&now, switched_us);
    /* The registers still hold the old image behind the disabled outputs. */
    driver_write(&now, &now);
}

const image_t *relays_now(void) { return &now; }

uint32_t relays_switched_us(void) { return switched_us; }
