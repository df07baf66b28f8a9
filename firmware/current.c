#include "current.h"

#include <util/atomic.h>

#include "board.h"
#include "clock.h"
#include "configuration.h"
#include "pins.h"

/* 0.22 ohm times 50 */
#define MV_PER_MA 11UL

/* The mean of first order over 512 samples of 0.21 ms: about 0.11 s. Kept 512-fold, at most
 * 1023 * 512, with no rounding that could build up. */
#define MEAN_SHIFT 9

#define FULL_RAW 1015   /* the amplifier ends 20 mV short of its supply */
#define FULL_SAMPLES 96 /* 20 ms: 1,000 uF behind 1.6 ohm draw less after 5 ms */

static volatile int16_t cut;
static volatile bool armed, blanked;
static uint32_t blank_end_us;
static uint16_t peak_limit;
static uint32_t mean_limit;
static bool was_over;
static uint8_t full; /* samples in a row */

static volatile bool watched, has_spilt;
static uint16_t watch_limit;
static bool was_over_watch;

static volatile uint32_t mean;
static volatile uint16_t peak;

static uint16_t raw_of(uint16_t ma)
{
    return (ma * MV_PER_MA * 1024 + ADC_REFERENCE_MV / 2) / ADC_REFERENCE_MV;
}

/* One count is 5000 / 1024 / 11 mA = 443.9 uA. */
static uint32_t ua_of(uint32_t sum, uint8_t shift)
{
    return (sum * (ADC_REFERENCE_MV * 1000 / 1024 * 16 / MV_PER_MA) >> 4) >> shift;
}

void current_arm(void)
{
    armed = false;
    peak_limit = raw_of(configuration.peak_ma);
    mean_limit = (uint32_t)raw_of(configuration.average_ma) << MEAN_SHIFT;
    blank_end_us = clock_us() + configuration.blanking_ms * 1000UL;
    was_over = false;
    full = 0;
    blanked = true;
    armed = true;
}

void current_disarm(void) { armed = false; }

bool current_is_limited(void) { return armed && !blanked; }

int16_t current_cut(void)
{
    int16_t error;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) error = cut;
    return error;
}

void current_clear(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) cut = 0;
}

static void trip(int16_t error)
{
    pin_drivers_off();
    pin_supply(false);
    armed = false;
    cut = error;
}

void current_watch(uint16_t above_ma)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        watch_limit = (mean >> MEAN_SHIFT) + raw_of(above_ma);
        was_over_watch = has_spilt = false;
        watched = true;
    }
}

void current_unwatch(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) watched = has_spilt = false;
}

bool current_has_spilt(void) { return has_spilt; }

static void look_at_touch(uint16_t raw)
{
    bool is_over = raw > watch_limit;
    if (is_over && was_over_watch) {
        pin_drivers_off();
        watched = false;
        has_spilt = true;
    }
    was_over_watch = is_over;
}

void current_sample(uint16_t raw)
{
    if (raw > peak)
        peak = raw;
    mean += raw - (mean >> MEAN_SHIFT);
    if (watched)
        look_at_touch(raw);
    if (!armed)
        return;
    if (blanked) {
        full = raw >= FULL_RAW ? full + 1 : 0;
        if (full == FULL_SAMPLES)
            trip(106);
        if (!armed || !clock_reached(clock_us(), blank_end_us))
            return;
        blanked = false;
        mean = 0;
    }
    bool is_over = raw > peak_limit;
    if (is_over && was_over)
        trip(106);
    else if (mean > mean_limit)
        trip(107);
    was_over = is_over;
}

uint32_t current_mean_ua(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) now = mean;
    return ua_of(now >> 4, MEAN_SHIFT - 4);
}

uint32_t current_take_peak_ua(void)
{
    uint16_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now = peak;
        peak = 0;
    }
    return ua_of(now, 0);
}
