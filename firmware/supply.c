#include "supply.h"

#include "board.h"
#include "clock.h"

#define CHANGEOVER_US 1000 /* both switches open in between */

static bool is_on;

void supply_set(bool on)
{
    if (on) {
        PORTB &= ~(1 << BLEED_PIN);
        if (!is_on)
            clock_wait_us(CHANGEOVER_US);
        PORTD |= 1 << SUPPLY_PIN;
    } else {
        PORTD &= ~(1 << SUPPLY_PIN);
        if (is_on)
            clock_wait_us(CHANGEOVER_US);
        PORTB |= 1 << BLEED_PIN;
    }
    is_on = on;
}

bool supply_is_on(void) { return is_on; }
