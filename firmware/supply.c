#include "supply.h"

#include "clock.h"
#include "pins.h"

#define CHANGEOVER_US 1000 /* both switches open in between */

static bool is_on;

void supply_set(bool on)
{
    if (on) {
        pin_bleed(false);
        if (!is_on)
            clock_wait_us(CHANGEOVER_US);
        pin_supply(true);
    } else {
        pin_supply(false);
        if (is_on)
            clock_wait_us(CHANGEOVER_US);
        pin_bleed(true);
    }
    is_on = on;
}

bool supply_is_on(void) { return is_on; }
