/* The chain of 74HC595-type registers: shift, check through the read-back, latch, enable. */
#ifndef CHAIN_H
#define CHAIN_H

#include "image.h"

/* The first registers' bytes, the same with every driver. */
void chain_header(uint8_t *bytes, const image_t *image);
/* Byte 0 is for the register next to the controller. False: what came back is not what went in. */
bool chain_load(const uint8_t *bytes, uint8_t registers);
void chain_latch(void);
void chain_enable(void); /* does nothing once the over-current interrupt has cut the outputs */
void chain_disable(void);
/* Shifts patterns through without latching them: finds stuck bits, and a chain that is longer
 * or shorter than this. */
bool chain_test(uint8_t registers);

#endif
