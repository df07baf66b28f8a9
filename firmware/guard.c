#include "guard.h"

#include "clock.h"
#include "errors.h"
#include "relays.h"
#include "status.h"
#include "supply.h"
#include "touch.h"

#define HELD_MAX (CLOSURES_MAX + KEY_CHANNELS)

struct held {
    uint8_t bit;
    bool used;
    uint32_t since_us;
};

static struct held held[HELD_MAX];
static uint32_t fed_us;
static uint16_t deadman_ms = DEADMAN_DEFAULT_MS;
static bool latched;

static bool is_closed(const image_t *image, uint8_t bit)
{
    return image->byte[bit / 8] >> (bit % 8) & 1;
}

static bool is_timed(uint8_t bit) { return bit < BIT_SERIES || bit >= BIT_KEYS; }

bool guard_allows(const image_t *wanted)
{
    uint8_t closures = 0;
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        for (uint8_t bits = wanted->byte[n]; bits; bits &= bits - 1)
            closures++;
    return closures <= CLOSURES_MAX;
}

static void hold(uint8_t bit, uint32_t now_us)
{
    struct held *place = 0;
    for (uint8_t n = 0; n < HELD_MAX; n++) {
        if (held[n].used && held[n].bit == bit)
            return;
        if (!held[n].used && !place)
            place = &held[n];
    }
    /* guard_allows() keeps the count below the places there are */
    if (place)
        *place = (struct held){.bit = bit, .used = true, .since_us = now_us};
}

void guard_watch(const image_t *now, uint32_t now_us)
{
    for (uint8_t n = 0; n < HELD_MAX; n++)
        if (held[n].used && !is_closed(now, held[n].bit))
            held[n].used = false;
    for (uint8_t n = 0; n < CHAIN_BYTES; n++) {
        if (!now->byte[n])
            continue;
        for (uint8_t bit = n * 8; bit < n * 8 + 8; bit++)
            if (is_timed(bit) && is_closed(now, bit))
                hold(bit, now_us);
    }
}

void guard_fed(void) { fed_us = clock_us(); }

void guard_off(void)
{
    relays_off();
    touch_abort();
    supply_set(false);
}

static bool is_anything_on(void)
{
    if (supply_is_on() || touch_is_busy())
        return true;
    const image_t *now = relays_now();
    for (uint8_t n = 0; n < CHAIN_BYTES; n++)
        if (now->byte[n])
            return true;
    return false;
}

void guard_run(void)
{
    if (!is_anything_on())
        return;
    uint32_t now_us = clock_us();
    if (clock_since(now_us, fed_us) > deadman_ms * 1000UL) {
        guard_off();
        errors_push(101);
        return;
    }
    for (uint8_t n = 0; n < HELD_MAX; n++)
        if (held[n].used && clock_since(now_us, held[n].since_us) > CLOSURE_MAX_MS * 1000UL) {
            relays_off();
            touch_abort();
            errors_push(102);
            return;
        }
}

void guard_latch(int16_t error)
{
    latched = true;
    status_condition(STATUS_QUESTIONABLE, QUES_GUARD, true);
    guard_off();
    errors_push(error);
}

bool guard_is_latched(void) { return latched; }

void guard_clear(void)
{
    latched = false;
    status_condition(STATUS_QUESTIONABLE, QUES_GUARD, false);
}

void guard_set_deadman_ms(uint16_t ms) { deadman_ms = ms; }

uint16_t guard_deadman_ms(void) { return deadman_ms; }
