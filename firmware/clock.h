/* Microseconds since start on a 32-bit counter that wraps after 71.6 minutes.
 *
 * Compare moments only through clock_reached() and clock_since(), which are right
 * across the wrap for spans below 35 minutes. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdbool.h>
#include <stdint.h>

/* The counter's value at start; a build near the wrap lets tests cross it. */
#ifndef CLOCK_START_US
#define CLOCK_START_US 0UL
#endif

void clock_init(void);
uint32_t clock_us(void);
uint8_t clock_tick(void); /* counts milliseconds */
void clock_wait_us(uint16_t us); /* busy, interrupts stay on */

static inline bool clock_reached(uint32_t now_us, uint32_t due_us)
{
    return (int32_t)(now_us - due_us) >= 0;
}

static inline uint32_t clock_since(uint32_t now_us, uint32_t then_us) { return now_us - then_us; }

#endif
