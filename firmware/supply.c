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
#define PERMIT_MS 30       /* the interrupt beats so long without the main loop */
#define SILENT_US 25000    /* the longest that a beat holds the switch, and a margin */
#define PROOF_US 10000     /* the switch's turning on, and the filter of the rail sense */
#define RISE_US 20000      /* beyond the blanking, until the rail must be up */
#define ODD_US 10000
#define FALL_MOST_US 6000000UL /* 5 mF through the bleed */

#define BELOW(raw, mv) ((raw) * (ADC_REFERENCE_MV * RAIL_DIVIDER) < (mv) * 1024UL)
#define RAIL_DOWN_MV 200
#define RAIL_UP_MV 1000
#define EXCESS_MV 1000 /* over what a path may carry: fresh cells */

static volatile bool is_on, is_proving;
static volatile uint8_t permit_ms;
static uint32_t changed_us, even_us; /* of the switch; when the rail was last as it should be */
static enum { FALL_UNKNOWN, FALL_AT_START, FALLING, FALLEN } fall;
static uint16_t fall_ms;
static int16_t fault;

void supply_init(void)
{
    changed_us = clock_us();
    fall = FALL_AT_START; /* whatever switched it on before */
}

void supply_beat(void)
{
    if (is_on) {
        if (!permit_ms || current_cut())
            return;
        permit_ms--;
    } else if (!is_proving) {
        return;
    }
    pin_heartbeat_toggle();
}

/* With the bleed on, so that a switch that leaks pulls against something. */
static bool stays_down(bool line, bool beats)
{
    is_proving = beats;
    pin_supply(line);
    clock_wait_us(PROOF_US);
    bool down = supply_rail_is_down();
    pin_supply(false);
    return down;
}

int16_t supply_on(void)
{
    if (is_on)
        return 0;
    if (!supply_rail_is_down())
        return 112;
    while (clock_since(clock_us(), changed_us) < SILENT_US)
        ;
    current_arm();
    if (!stays_down(true, false) || !stays_down(false, true)) {
        is_proving = false;
        changed_us = clock_us();
        current_disarm();
        return 111;
    }
    pin_bleed(false);
    clock_wait_us(CHANGEOVER_US);
    current_arm();
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (!current_cut()) {
            pin_supply(true);
            permit_ms = PERMIT_MS;
            is_on = true;
        }
        is_proving = false; /* the beats went on until here, so that none is missed */
    }
    changed_us = even_us = clock_us();
    fall = FALL_UNKNOWN;
    return 0; /* a cut is told by the guard */
}

void supply_off(void)
{
    pin_supply(false);
    if (is_on) {
        changed_us = clock_us();
        current_disarm();
        is_on = false;
        fall = FALLING;
        clock_wait_us(CHANGEOVER_US);
    }
    pin_bleed(true);
}

bool supply_is_on(void) { return is_on; }

bool supply_is_up(void)
{
    return is_on && current_is_limited() && !BELOW(adc_rail_raw(), RAIL_UP_MV);
}

static bool is_rail_odd(uint32_t now_us)
{
    uint16_t raw = adc_rail_raw();
    if (!BELOW(raw, driver.most_mv + EXCESS_MV))
        return true;
    uint32_t settled_us = RISE_US + configuration.blanking_ms * 1000UL;
    return is_on && clock_since(now_us, changed_us) > settled_us && BELOW(raw, RAIL_UP_MV);
}

static void look_at_rail(uint32_t now_us)
{
    bool odd = is_rail_odd(now_us);
    status_condition(STATUS_QUESTIONABLE, QUES_VOLTAGE, odd);
    if (!odd || !is_on)
        even_us = now_us;
    else if (clock_since(now_us, even_us) > ODD_US)
        fault = 110;
}

static void look_at_fall(uint32_t now_us)
{
    uint32_t since_us = clock_since(now_us, changed_us);
    if (supply_rail_is_down()) {
        fall = fall == FALLING ? FALLEN : FALL_UNKNOWN;
        fall_ms = since_us / 1000;
    } else if (since_us > FALL_MOST_US) {
        fall = FALL_UNKNOWN;
        fault = 111;
    }
}

void supply_run(void)
{
    uint32_t now_us = clock_us();
    if (is_on && !current_cut())
        permit_ms = PERMIT_MS;
    look_at_rail(now_us);
    if (fall == FALLING || fall == FALL_AT_START)
        look_at_fall(now_us);
}

int16_t supply_fault(void)
{
    int16_t told = fault;
    fault = 0;
    return told;
}

bool supply_rail_is_down(void) { return BELOW(adc_rail_raw(), RAIL_DOWN_MV); }

bool supply_fall_ms(uint16_t *ms)
{
    *ms = fall_ms;
    return fall == FALLEN;
}
