/* The main loop: touch, guard, one command, sleep. All state but the serial rings and the
 * clock belongs to it; interrupts only move bytes and count time. */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "adc.h"
#include "boot.h"
#include "clock.h"
#include "configuration.h"
#include "errors.h"
#include "guard.h"
#include "pins.h"
#include "relays.h"
#include "reset_line.h"
#include "scpi.h"
#include "supply.h"
#include "touch.h"
#include "uart.h"

int main(void)
{
    pins_init();
    clock_init();
    uart_init(); /* before the EEPROM's slow writes, so that no byte is missed unnoticed */
    adc_init();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    boot_init();
    if (!configuration_load())
        errors_push(-315);
    touch_reset();
    relays_init();
    if (uart_start_clean())
        errors_push(-363);
    if (guard_self_test())
        errors_push(-330);
    guard_fed();

    for (;;) {
        wdt_reset();
        touch_run();
        guard_run();
        supply_run();
        reset_line_run();
        if (touch_is_near())
            continue; /* a command would take up to a millisecond: it waits, the step doesn't */
        if (scpi_run())
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
