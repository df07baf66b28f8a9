#include "clock.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"
#include "supply.h"

#define TICKS_PER_US 2 /* 16 MHz through the prescaler of 8 */
#define TICK_US 1000

static volatile uint32_t base_us = CLOCK_START_US;
static volatile uint8_t tick;

/* One interrupt a millisecond also beats for the supply and wakes the main loop from sleep. */
ISR(TIMER1_COMPA_vect)
{
    base_us += TICK_US;
    tick++;
    supply_beat();
}

void clock_init(void)
{
    TCCR1A = 0;
    TCCR1B = (1 << WGM12) | (1 << CS11);
    OCR1A = TICK_US * TICKS_PER_US - 1;
    TIMSK1 = 1 << OCIE1A;
}

uint32_t clock_us(void)
{
    uint32_t us;
    uint16_t ticks;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        ticks = TCNT1;
        us = base_us;
        /* The counter has restarted but its interrupt hasn't run yet. */
        if ((TIFR1 & (1 << OCF1A)) && ticks < TICK_US * TICKS_PER_US / 2)
            us += TICK_US;
    }
    return us + ticks / TICKS_PER_US;
}

uint8_t clock_tick(void) { return tick; }

void clock_wait_us(uint16_t us)
{
    uint32_t start_us = clock_us();
    while (clock_since(clock_us(), start_us) < us)
        ;
}
