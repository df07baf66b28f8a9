#include "touch.h"

#include <string.h>

#include "clock.h"
#include "configuration.h"
#include "current.h"
#include "errors.h"
#include "guard.h"
#include "pins.h"
#include "relays.h"
#include "reset_line.h"
#include "status.h"

#define NEAR_US 1200 /* a little more than the time between two ticks */

struct touch_settings touch_settings;

static enum touch_state state;
static uint32_t due_us;     /* of the state's end */
static uint32_t release_us; /* of the keys' release, while they are down */
static uint32_t marker_us;  /* of the marker's fall, while it is up */
static bool keys_down, held, closed, marker_up;
static bool armed;     /* closes nothing before it is told to */
static uint8_t standing; /* holds that were closed before the touch, and stay so after it */
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

static image_t wanted(void)
{
    image_t image;
    memset(&image, 0, sizeof image);
    if (closed && !image_is_empty(&touch_settings.pads)) {
        image = touch_settings.pads;
        image.series = touch_settings.series;
    }
    if (keys_down)
        image.keys = touch_settings.keys;
    image.aux = (standing | (held ? touch_settings.holds : 0)) << AUX_HOLD_FIRST;
    return image;
}

/* Brings the relays to what `keys_down`, `held` and `closed` say and gives the moment at which
 * they got there. On a fault the touch is aborted already. */
static uint32_t apply(void)
{
    image_t image = wanted();
    if (!memcmp(&image, relays_now(), sizeof image))
        return clock_us();
    int16_t error = relays_set(&image);
    if (error) { /* it was looked at before the start: nothing should bring us here */
        relays_off();
        touch_abort();
        errors_push(error);
    }
    return relays_switched_us();
}

static void press(void)
{
    uint32_t now_us = clock_us();
    if (touch_settings.keys || touch_settings.holds) {
        keys_down = touch_settings.keys;
        held = true;
        now_us = apply();
        if (state != TOUCH_BEFORE)
            return;
    }
    if (keys_down) {
        stamp(STEP_PRESS, now_us);
        release_us = now_us + ms(touch_settings.press_ms);
    }
    state = TOUCH_LEAD;
    due_us = now_us + ms(touch_settings.lead_in_ms);
}

static void release(void)
{
    keys_down = false;
    uint32_t now_us = apply();
    if (touch_is_busy())
        stamp(STEP_RELEASE, now_us);
}

static void close_pads(void)
{
    closed = true;
    if (touch_settings.above_ma)
        current_watch(touch_settings.above_ma);
    uint32_t now_us = apply();
    if (state != TOUCH_LEAD)
        return;
    stamp(STEP_CLOSE, now_us);
    state = TOUCH_DWELL;
    due_us = now_us + ms(touch_settings.dwell_ms);
}

static void open_pads(void)
{
    if (current_has_spilt())
        return; /* the guard is about to see to it */
    current_unwatch();
    closed = false;
    uint32_t now_us = apply();
    if (state != TOUCH_DWELL)
        return;
    stamp(STEP_OPEN, now_us);
    state = TOUCH_TAIL;
    due_us = now_us + ms(touch_settings.tail_ms);
}

static void mark_end(void)
{
    uint32_t now_us = clock_us();
    raise_marker(now_us);
    stamp(STEP_END, now_us);
    state = TOUCH_MARK;
    due_us = now_us + MARKER_PULSE_US + MARKER_GAP_US;
}

static void finish(void)
{
    held = false;
    if (keys_down)
        release();
    else
        apply();
    if (touch_is_busy())
        mark_end();
}

/* The marker and the stamps tell the host what the toy sounded like up to the cut. */
void touch_cut(void)
{
    if (!touch_is_busy() || state == TOUCH_MARK)
        return;
    if (keys_down)
        stamp(STEP_RELEASE, relays_switched_us());
    if (closed)
        stamp(STEP_OPEN, relays_switched_us());
    keys_down = held = closed = false;
    standing = 0;
    mark_end();
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
        if (armed)
            finish();
        else
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

/* No closure may outlast the guard's patience: the guard would end the touch half-way. */
static bool is_too_long(void)
{
    uint32_t longest_ms = touch_settings.dwell_ms, held_ms = longest_ms;
    if (touch_settings.keys && touch_settings.press_ms > longest_ms)
        longest_ms = touch_settings.press_ms;
    held_ms += (uint32_t)touch_settings.lead_in_ms + touch_settings.tail_ms;
    if (guard_is_low(&touch_settings.pads) &&
        touch_settings.dwell_ms + TOUCH_LOW_MARGIN_MS > configuration.low_ms)
        return true;
    return longest_ms + TOUCH_MARGIN_MS > configuration.closure_ms ||
           (touch_settings.holds &&
            held_ms + TOUCH_MARGIN_MS > configuration.hold_s * 1000UL);
}

int16_t touch_initiate(bool waits)
{
    bool bus_1 = false, bus_2 = false;
    for (uint8_t n = 0; n < BUS_BYTES; n++) {
        bus_1 |= touch_settings.pads.bus1[n] != 0;
        bus_2 |= touch_settings.pads.bus2[n] != 0;
    }
    if (bus_1 && bus_2 && !touch_settings.series)
        return -221; /* nothing would be connected, and the touch would tell a lie */
    image_t image = *relays_now();
    uint8_t before = image.aux >> AUX_HOLD_FIRST;
    image.aux = 0;
    if (!image_is_empty(&image) || reset_line_is_pulled() || is_too_long() ||
        before & touch_settings.holds)
        return -221;
    standing = before;
    keys_down = held = closed = true;
    image = wanted();
    keys_down = held = closed = false;
    int16_t error = guard_allows(&image);
    if (error)
        return error;
    armed = waits;
    stamped = 0;
    uint32_t now_us = clock_us();
    raise_marker(now_us);
    stamp(STEP_START, now_us);
    state = TOUCH_BEFORE;
    status_condition(STATUS_OPERATION, OPER_MEASURING, true);
    due_us = now_us + ms(touch_settings.before_ms);
    return 0;
}

int16_t touch_close_at(int32_t after_start_us)
{
    uint32_t now_us = clock_us(), at_us = now_us;
    if (state != TOUCH_LEAD || !armed)
        return -221;
    if (after_start_us != TOUCH_CLOSE_NOW)
        at_us = stamp_us[STEP_START] + after_start_us;
    if (!clock_reached(at_us, now_us) || !clock_reached(due_us, at_us))
        return -222; /* too late, or not within the lead-in */
    armed = false;
    due_us = at_us;
    return 0;
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
    current_unwatch();
    keys_down = held = closed = false;
    standing = 0;
    state = TOUCH_IDLE;
    status_condition(STATUS_OPERATION, OPER_MEASURING, false);
    stamped = 0;
}

void touch_reset(void)
{
    touch_abort();
    memset(&touch_settings, 0, sizeof touch_settings);
    touch_settings.before_ms = TOUCH_BEFORE_MS;
    touch_settings.press_ms = TOUCH_PRESS_MS;
    touch_settings.lead_in_ms = TOUCH_LEAD_IN_MS;
    touch_settings.dwell_ms = TOUCH_DWELL_MS;
    touch_settings.tail_ms = TOUCH_TAIL_MS;
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
