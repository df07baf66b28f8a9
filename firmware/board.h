/* Pins of the ATmega328P and limits of the build. */
#ifndef BOARD_H
#define BOARD_H

/* One pin a line: direction; what holds it while the chip is in reset; use. The resistors keep
 * everything open and off while the pins float. README.md's table is made from these lines. */
#define RXD_PIN PD0              /* in; 100 kohm to +5 V; serial port, 250,000 baud 8N1 */
#define TXD_PIN PD1              /* out; 100 kohm to +5 V; serial port */
#define SUPPLY_PIN PD2           /* out; 10 kohm to ground; high: the toy's supply switch may be on */
#define MARKER_PIN PD3           /* out; 10 kohm to ground; high for 5 ms at start and end of a touch */
#define CHAIN_DATA_PIN PD4       /* out; nothing; serial input of the first register */
#define CHAIN_CLOCK_PIN PD5      /* out; nothing; shift clock of all registers */
#define CHAIN_LATCH_PIN PD6      /* out; nothing; storage clock of all registers */
#define CHAIN_ENABLE_NOT_PIN PD7 /* out; 10 kohm to +5 V; low: the registers drive what they hold */
#define CHAIN_READ_PIN PB0       /* in; 10 kohm to ground; serial output of the last register */
#define BLEED_PIN PB1            /* out; 10 kohm to ground; high: the bleed resistor lies across the toy's rail */
#define HEARTBEAT_PIN PB2        /* out; capacitor into the charge pump; its edges hold the supply switch on */
#define STROBE_PIN PB3           /* out; 10 kohm to ground; crosspoint build only: takes the address word */
#define RAIL_PIN PC0             /* analog; divider to ground; the toy's rail through 3:1 */
#define CURRENT_PIN PC1          /* analog; amplifier's output; the toy's supply current, 11 mV per mA */
#define RESET_LINE_PIN PC2       /* out; 10 kohm to ground; high: pulls the toy's reset pad low */
#define BUS_PIN PC3              /* analog; divider to ground; the sense line through 3:1 */
#define CONTINUITY_PIN PC4       /* analog; amplifier's output; the continuity source's node times 20 */
#define REFERENCE_PIN PC5        /* analog; shunt reference; 2.500 V, by which the chip tells its 5 V supply */

/* Converter channels: pin PCn is channel n. */
#define RAIL_CHANNEL 0
#define CURRENT_CHANNEL 1
#define BUS_CHANNEL 3
#define CONTINUITY_CHANNEL 4
#define REFERENCE_CHANNEL 5
#define REFERENCE_MV 2500UL
#define ADC_REFERENCE_MV 5000UL
#define RAIL_DIVIDER 3UL /* 20 kohm over 10 kohm: 12 V is 4 V at the pin; the sense line's too */

#define PADS_MAX 64
#define SERIES_CHANNELS 8
#define KEY_CHANNELS 8
#define HOLD_CHANNELS 2
#define HEADER_REGISTERS 3 /* series, keys, aux: the chain's first registers with every driver */
#define REGISTERS_MAX (HEADER_REGISTERS + 2 * PADS_MAX / 8)

/* EEPROM: where a new firmware must find what an older one left. Address 0 is left alone. */
#define EEPROM_BOOTS 8
#define EEPROM_CONFIGURATION 32

#define BAUD_RATE 250000UL
#define CLOSURES_MAX 8
#define RELAYS_LEAST_MV 4600 /* of the 5 V: below it a warm relay may not pull in */
#define RELAY_MAKE_US 1000
#define RELAY_BREAK_US 2000 /* reed release time with a margin, before another may close */
#define MARKER_PULSE_US 5000UL
#define MARKER_GAP_US 5000UL /* quiet after the end marker, so that two never merge */

#endif
