/* The main loop: touch, guard, one command, sleep. All state but the serial rings and the
 * clock belongs to it; interrupts only move bytes and count time. */
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "adc.h"
#include "boot.h"
#include "clock.h"
#include "errors.h"
#include "guard.h"
#include "relays.h"
#include "scpi.h"
#include "touch.h"
#include "uart.h"

int main(void)
{
    boot_init();
    clock_init();
    touch_reset();
    relays_init();
    adc_init();
    uart_init();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    if (uart_start_clean())
        errors_push(-363);
    guard_fed();

    for (;;) {
        wdt_reset();
        touch_run();
        guard_run();
        if (touch_is_near())
            continue; /* a command would take up to a millisecond: it waits, the step doesn't */
        if (scpi_run())
            continue;
        cli(); /* a byte that comes between the look and the sleep must still wake it */
        if (!uart_has_input()) {
            sleep_enable();
            sei();
            sleep_cpu();
            sleep_disable();
        }
        sei();
    }
}
