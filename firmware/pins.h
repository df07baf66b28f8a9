/* The only writes to the port pins; everything above says what it wants by name. Each is one
 * instruction, so that an interrupt may cut outputs between any two. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>
#include <stdbool.h>

#include "board.h"

#if F_CPU != 16000000UL
#error "the timings are written for a 16 MHz clock"
#endif

/* Inline always: some are used before the stack is there. */
#define PIN static inline __attribute__((always_inline))

#define PIN_SET(port, pin, high)       \
    do {                               \
        if (high)                      \
            (port) |= 1 << (pin);      \
        else                           \
            (port) &= ~(1 << (pin));   \
    } while (0)

PIN void pin_supply(bool on) { PIN_SET(PORTD, SUPPLY_PIN, on); }
PIN void pin_marker(bool on) { PIN_SET(PORTD, MARKER_PIN, on); }
PIN void pin_bleed(bool on) { PIN_SET(PORTB, BLEED_PIN, on); }
PIN void pin_reset_line(bool pull) { PIN_SET(PORTC, RESET_LINE_PIN, pull); }
PIN void pin_heartbeat_toggle(void) { PINB = 1 << HEARTBEAT_PIN; }

PIN void pin_drivers_off(void) { PORTD |= 1 << CHAIN_ENABLE_NOT_PIN; }
PIN void pin_drivers_on(void) { PORTD &= ~(1 << CHAIN_ENABLE_NOT_PIN); }

PIN void pin_chain_data(bool high) { PIN_SET(PORTD, CHAIN_DATA_PIN, high); }

PIN void pin_chain_clock(void)
{
    PORTD |= 1 << CHAIN_CLOCK_PIN;
    PORTD &= ~(1 << CHAIN_CLOCK_PIN);
}

PIN void pin_chain_latch(void)
{
    PORTD |= 1 << CHAIN_LATCH_PIN;
    PORTD &= ~(1 << CHAIN_LATCH_PIN);
}

PIN bool pin_chain_read(void) { return PINB & (1 << CHAIN_READ_PIN); }

PIN void pin_strobe(void)
{
    PORTB |= 1 << STROBE_PIN;
    PORTB &= ~(1 << STROBE_PIN);
}

/* Straight after reset: level before direction, so that no pin ever drives the wrong way. */
PIN void pins_safe(void)
{
    pin_drivers_off();
    DDRD |= 1 << CHAIN_ENABLE_NOT_PIN;
    pin_supply(false);
    DDRD |= 1 << SUPPLY_PIN;
}

PIN void pins_init(void)
{
    DDRD = (1 << CHAIN_ENABLE_NOT_PIN) | (1 << SUPPLY_PIN) | (1 << MARKER_PIN) |
           (1 << CHAIN_DATA_PIN) | (1 << CHAIN_CLOCK_PIN) | (1 << CHAIN_LATCH_PIN);
    PORTB = 1 << BLEED_PIN;
    DDRB = (1 << BLEED_PIN) | (1 << HEARTBEAT_PIN) | (1 << STROBE_PIN);
    DDRC = 1 << RESET_LINE_PIN;
}

#endif
