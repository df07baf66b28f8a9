#include "touch.h"

#include <string.h>

#include "clock.h"
#include "pins.h"
#include "relays.h"
#include "status.h"

#define NEAR_US 1200 /* a little more than the time between two ticks */

struct touch_settings touch_settings;

static enum touch_state state;
static uint32_t due_us;     /* of the state's end */
static uint32_t release_us; /* of the keys' release, while they are down */
static uint32_t marker_us;  /* of the marker's fall, while it is up */
static bool keys_down, closed, marker_up;
static uint32_t stamp_us[STEPS];
static uint8_t stamped; /* bit n: step n has happened */

static uint32_t ms(uint16_t milliseconds) { return milliseconds * 1000UL; }

static void stamp(enum touch_step step, uint32_t us)
{
    stamp_us[step] = us;
    stamped |= 1 << step;
}

static void raise_marker(uint32_t now_us)
{
    pin_marker(true);
    marker_up = true;
    marker_us = now_us + MARKER_PULSE_US;
}

static void drop_marker(void)
{
    pin_marker(false);
    marker_up = false;
}

static bool has_pads(void)
{
    for (uint8_t n = 0; n < PAD_BYTES; n++)
        if (touch_settings.pads.byte[n])
            return true;
    return false;
}

/* Brings the relays to what `keys_down` and `closed` say and gives the moment at which
 * they got there. On a fault the guard has already aborted the touch. */
static uint32_t apply(void)
{
    image_t image;
    memset(&image, 0, sizeof image);
    bool changes = false;
    if (closed && has_pads()) {
        image = touch_settings.pads;
        if (touch_settings.series)
            image.byte[SERIES_BYTE] = 1 << (touch_settings.series - 1);
    }
    if (keys_down)
        image.byte[KEY_BYTE] = touch_settings.keys;
    changes = memcmp(&image, relays_now(), sizeof image) != 0;
    if (!changes)
        return clock_us();
    relays_set(&image);
    return relays_switched_us();
}

static void press(void)
{
    uint32_t now_us = clock_us();
    if (touch_settings.keys) {
        keys_down = true;
        now_us = apply();
        if (state != TOUCH_BEFORE)
            return;
        stamp(STEP_PRESS, now_us);
        release_us = now_us + ms(touch_settings.press_ms);
    }
    state = TOUCH_LEAD;
    due_us = now_us + ms(touch_settings.lead_in_ms);
}

static void release(void)
{
    keys_down = false;
    stamp(STEP_RELEASE, apply());
}

static void close_pads(void)
{
    closed = true;
    uint32_t now_us = apply();
    if (state != TOUCH_LEAD)
        return;
    stamp(STEP_CLOSE, now_us);
    state = TOUCH_DWELL;
    due_us = now_us + ms(touch_settings.dwell_ms);
}

static void open_pads(void)
{
    closed = false;
    uint32_t now_us = apply();
    if (state != TOUCH_DWELL)
        return;
    stamp(STEP_OPEN, now_us);
    state = TOUCH_TAIL;
    due_us = now_us + ms(touch_settings.tail_ms);
}

static void finish(void)
{
    if (keys_down)
        release();
    uint32_t now_us = clock_us();
    raise_marker(now_us);
    stamp(STEP_END, now_us);
    state = TOUCH_MARK;
    due_us = now_us + MARKER_PULSE_US + MARKER_GAP_US;
}

void touch_run(void)
{
    uint32_t now_us = clock_us();
    if (marker_up && clock_reached(now_us, marker_us))
        drop_marker();
    if (keys_down && clock_reached(now_us, release_us))
        release();
    if (!touch_is_busy() || !clock_reached(now_us, due_us))
        return;
    switch (state) {
    case TOUCH_BEFORE:
        press();
        break;
    case TOUCH_LEAD:
        close_pads();
        break;
    case TOUCH_DWELL:
        open_pads();
        break;
    case TOUCH_TAIL:
        finish();
        break;
    case TOUCH_MARK:
        state = TOUCH_DONE;
        status_condition(STATUS_OPERATION, OPER_MEASURING, false);
        break;
    default:
        break;
    }
}

bool touch_initiate(void)
{
    bool bus_1 = false, bus_2 = false;
    for (uint8_t n = 0; n < PAD_BYTES; n++) {
        if (n < PAD_BYTES / 2)
            bus_1 |= touch_settings.pads.byte[n] != 0;
        else
            bus_2 |= touch_settings.pads.byte[n] != 0;
        if (relays_now()->byte[n])
            return false;
    }
    if (relays_now()->byte[SERIES_BYTE] || relays_now()->byte[KEY_BYTE])
        return false;
    if (bus_1 && bus_2 && !touch_settings.series)
        return false; /* nothing would be connected, and the touch would tell a lie */
    stamped = 0;
    keys_down = closed = false;
    uint32_t now_us = clock_us();
    raise_marker(now_us);
    stamp(STEP_START, now_us);
    state = TOUCH_BEFORE;
    status_condition(STATUS_OPERATION, OPER_MEASURING, true);
    due_us = now_us + ms(touch_settings.before_ms);
    return true;
}

void touch_end(void)
{
    switch (state) {
    case TOUCH_BEFORE:
    case TOUCH_LEAD:
        finish();
        break;
    case TOUCH_DWELL:
        open_pads();
        break;
    default: /* too late to end anything: the dwell ended by itself just before */
        break;
    }
}

void touch_abort(void)
{
    drop_marker();
    keys_down = closed = false;
    state = TOUCH_IDLE;
    status_condition(STATUS_OPERATION, OPER_MEASURING, false);
    stamped = 0;
}

void touch_reset(void)
{
    touch_abort();
    memset(&touch_settings, 0, sizeof touch_settings);
    touch_settings.before_ms = 60;
    touch_settings.press_ms = 120;
    touch_settings.lead_in_ms = 240;
    touch_settings.dwell_ms = 1200;
    touch_settings.tail_ms = 500;
}

bool touch_is_busy(void) { return state != TOUCH_IDLE && state != TOUCH_DONE; }

static bool is_near(uint32_t now_us, uint32_t moment_us)
{
    return clock_reached(now_us + NEAR_US, moment_us);
}

bool touch_is_near(void)
{
    uint32_t now_us = clock_us();
    return (marker_up && is_near(now_us, marker_us)) ||
           (keys_down && is_near(now_us, release_us)) ||
           (touch_is_busy() && is_near(now_us, due_us));
}

enum touch_state touch_state(void) { return state; }

bool touch_stamp(enum touch_step step, uint32_t *us)
{
    *us = stamp_us[step];
    return stamped >> step & 1;
}
