/* Pins of the ATmega328P, limits of the build, and the bit map of the relay chain. */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>

#if F_CPU != 16000000UL
#error "the timings are written for a 16 MHz clock"
#endif

/* Port D: everything that can energise something. The hardware holds SUPPLY low and
 * CHAIN_ENABLE_NOT high by resistors while the pins float. */
#define SUPPLY_PIN PD2
#define MARKER_PIN PD3
#define CHAIN_DATA_PIN PD4
#define CHAIN_CLOCK_PIN PD5
#define CHAIN_LATCH_PIN PD6
#define CHAIN_ENABLE_NOT_PIN PD7

/* Port B */
#define CHAIN_READ_PIN PB0 /* serial output of the chain's last register */
#define BLEED_PIN PB1      /* high: the bleed resistor is across the toy's rail */

/* Port C */
#define RAIL_ADC_CHANNEL 0
#define RAIL_DIVIDER 3UL /* 20 kohm over 10 kohm: 12 V is 4 V at the pin */
#define ADC_REFERENCE_MV 5000UL

#define PADS 32
#define SERIES_CHANNELS 8
#define KEY_CHANNELS 8

/* Bits of the chain, bit 0 at the first register's first output. */
#define BIT_BUS_1 0
#define BIT_BUS_2 (BIT_BUS_1 + PADS)
#define BIT_SERIES (BIT_BUS_2 + PADS)
#define BIT_KEYS (BIT_SERIES + SERIES_CHANNELS)
#define CHAIN_BITS (BIT_KEYS + KEY_CHANNELS)
#define CHAIN_BYTES (CHAIN_BITS / 8)

#define PAD_BYTES (BIT_SERIES / 8) /* the pads' bits come first in an image */
#define SERIES_BYTE (BIT_SERIES / 8)
#define KEY_BYTE (BIT_KEYS / 8)

#if CHAIN_BITS % 8 || SERIES_CHANNELS != 8 || KEY_CHANNELS != 8
#error "series and key channels each fill one register"
#endif

#define BAUD_RATE 250000UL
#define CLOSURES_MAX 8
#define CLOSURE_MAX_MS 10000UL
#define DEADMAN_DEFAULT_MS 3000U
#define DEADMAN_MIN_MS 500U
#define DEADMAN_MAX_MS 10000U
#define BREAK_US 2000UL /* reed release time with a margin, before another may close */
#define MARKER_PULSE_US 5000UL
#define MARKER_GAP_US 5000UL /* quiet after the end marker, so that two never merge */

#endif
