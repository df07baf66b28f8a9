/* All state but the serial rings, the clock and the converter's samples belongs to the main loop;
 * interrupts only move bytes, count time and cut the outputs. */
#include "loop.h"

#include "boot.h"
#include "clock.h"
#include "configuration.h"
#include "errors.h"
#include "guard.h"
#include "relays.h"
#include "reset_line.h"
#include "scpi.h"
#include "supply.h"
#include "touch.h"
#include "uart.h"

void loop_start(void)
{
    boot_init();
    if (!configuration_load())
        errors_push(-315);
    touch_reset();
    relays_init();
    supply_init();
    if (uart_start_clean())
        errors_push(-363);
    if (guard_self_test())
        errors_push(-330);
    guard_fed(clock_us());
}

bool loop_turn(void)
{
    touch_run();
    guard_run();
    supply_run();
    reset_line_run();
    if (touch_is_near())
        return true; /* a command would take up to a millisecond: it waits, the step doesn't */
    return scpi_run();
}
