#include "supply.h"

#include <util/atomic.h>

#include "adc.h"
#include "board.h"
#include "clock.h"
#include "configuration.h"
#include "current.h"
#include "driver.h"
#include "pins.h"
#include "status.h"

#define CHANGEOVER_US 1000 /* both switches open in between */
#define HEARTBEAT_US 1000
#define RAISE_US 100000UL /* beyond the blanking, until the rail must be up */
#define FALL_MAX_US 60000000UL

#define BELOW(raw, mv) ((raw) * (ADC_REFERENCE_MV * RAIL_DIVIDER) < (mv) * 1024UL)
#define RAIL_DOWN_MV 200
#define RAIL_UP_MV 1000
#define EXCESS_MV 1000 /* over what a path may carry: fresh cells */

static bool is_on;
static uint32_t changed_us, beat_us;
static enum { FALL_UNKNOWN, FALLING, FALLEN } fall;
static uint16_t fall_ms;

void supply_set(bool on)
{
    if (on == is_on) {
        if (!on)
            pin_bleed(true);
        return;
    }
    if (on) {
        pin_bleed(false);
        clock_wait_us(CHANGEOVER_US);
        current_arm();
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
        {
            if (!current_cut()) {
                pin_supply(true);
                is_on = true;
            }
        }
        changed_us = clock_us();
        fall = FALL_UNKNOWN;
    } else {
        pin_supply(false);
        changed_us = clock_us();
        current_disarm();
        is_on = false;
        fall = FALLING;
        clock_wait_us(CHANGEOVER_US);
        pin_bleed(true);
    }
}

bool supply_is_on(void) { return is_on; }

static bool is_rail_odd(uint32_t now_us)
{
    uint16_t raw = adc_rail_raw();
    if (!BELOW(raw, driver.most_mv + EXCESS_MV))
        return true;
    uint32_t settled_us = RAISE_US + configuration.blanking_ms * 1000UL;
    return is_on && clock_since(now_us, changed_us) > settled_us && BELOW(raw, RAIL_UP_MV);
}

void supply_run(void)
{
    uint32_t now_us = clock_us();
    if (is_on && !current_cut() && clock_since(now_us, beat_us) >= HEARTBEAT_US) {
        beat_us = now_us;
        pin_heartbeat_toggle();
    }
    status_condition(STATUS_QUESTIONABLE, QUES_VOLTAGE, is_rail_odd(now_us));
    if (fall != FALLING)
        return;
    uint32_t since_us = clock_since(now_us, changed_us);
    if (since_us > FALL_MAX_US) {
        fall = FALL_UNKNOWN;
    } else if (supply_rail_is_down()) {
        fall = FALLEN;
        fall_ms = since_us / 1000;
    }
}

bool supply_rail_is_down(void) { return BELOW(adc_rail_raw(), RAIL_DOWN_MV); }

bool supply_fall_ms(uint16_t *ms)
{
    *ms = fall_ms;
    return fall == FALLEN;
}
