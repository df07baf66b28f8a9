#include "reset_line.h"

#include "clock.h"
#include "pins.h"

static bool pulled;
static uint32_t release_us;

void reset_line_pull(uint16_t ms)
{
    release_us = clock_us() + ms * 1000UL;
    pulled = true;
    pin_reset_line(true);
}

void reset_line_release(void)
{
    pulled = false;
    pin_reset_line(false);
}

void reset_line_run(void)
{
    if (pulled && clock_reached(clock_us(), release_us))
        reset_line_release();
}

bool reset_line_is_pulled(void) { return pulled; }
