#include "boot.h"

#include <avr/boot.h>
#include <avr/eeprom.h>
#include <util/atomic.h>
#include <avr/wdt.h>

#include "errors.h"
#include "pins.h"
#include "status.h"

static uint8_t cause __attribute__((section(".noinit")));
static uint16_t count;

/* The count beside its complement: a torn write shows, and counts as a fresh start. */
#define STORED_COUNT ((uint16_t *)EEPROM_BOOTS)
#define STORED_COMPLEMENT ((uint16_t *)EEPROM_BOOTS + 1)

/* Runs straight after reset, before the C run-time: outputs to their safe levels first, then
 * the watchdog, which a watchdog reset leaves running at its shortest time. */
void boot_safe(void) __attribute__((naked, used, section(".init1")));
void boot_safe(void)
{
    pins_safe();
}

void boot_watchdog(void) __attribute__((naked, used, section(".init3")));
void boot_watchdog(void)
{
    cause = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_120MS);
    wdt_reset(); /* the new time counts from here, not from what is left of the old one */
}

void boot_init(void)
{
    count = eeprom_read_word(STORED_COUNT);
    if (eeprom_read_word(STORED_COMPLEMENT) != (uint16_t)~count)
        count = 0;
    count++;

    events_set(ESR_PON);
    if (cause & (1 << WDRF))
        errors_push(103);
    else if ((cause & (1 << BORF)) && !(cause & (1 << PORF)))
        errors_push(104); /* a slow rise at power-up sets both */
    else
        errors_push(-500);
}

uint16_t boot_count(void) { return count; }

void boot_store(void)
{
    eeprom_update_word(STORED_COUNT, count);
    eeprom_update_word(STORED_COMPLEMENT, ~count);
}

uint8_t boot_fuse(uint8_t which)
{
    static const uint8_t places[BOOT_FUSES] PROGMEM = {GET_LOW_FUSE_BITS, GET_HIGH_FUSE_BITS,
                                                       GET_EXTENDED_FUSE_BITS, GET_LOCK_BITS};
    uint8_t bits, place = pgm_read_byte(&places[which]);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) bits = boot_lock_fuse_bits_get(place);
    return bits;
}

void boot_feed_watchdog(void) { wdt_reset(); }
