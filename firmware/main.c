/* The main loop: turns of loop.c, and sleep between them. */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "adc.h"
#include "clock.h"
#include "loop.h"
#include "pins.h"
#include "uart.h"

int main(void)
{
    pins_init();
    clock_init();
    uart_init(); /* before the EEPROM's slow writes, so that no byte is missed unnoticed */
    adc_init();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    loop_start();

    for (;;) {
        wdt_reset();
        if (loop_turn())
            continue;
        /* Until a byte or the next millisecond: a conversion wakes the chip, not the loop. */
        uint8_t tick = clock_tick();
        sleep_enable();
        for (;;) {
            cli(); /* a byte that comes between the look and the sleep must still wake it */
            if (uart_has_input() || clock_tick() != tick)
                break;
            sei();
            sleep_cpu();
        }
        sei();
        sleep_disable();
    }
}
