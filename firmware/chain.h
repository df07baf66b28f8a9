/* Driver of the 74HC595-type chain: shift, check through the read-back, latch, enable.
 *
 * Relays, a crosspoint or a multiplexer differ only here; relays.c owns what is closed. */
#ifndef CHAIN_H
#define CHAIN_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

typedef struct {
    uint8_t byte[CHAIN_BYTES];
} image_t;

bool chain_load(const image_t *image); /* false: what came back is not what went in */
void chain_latch(void);
void chain_enable(void);
void chain_disable(void);
bool chain_test(void); /* shifts patterns through without latching them */

#endif
