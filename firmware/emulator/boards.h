/* The boards on the chain's outputs: which pads, keys and channels are closed. */
#ifndef BOARDS_H
#define BOARDS_H

#include <stdbool.h>
#include <stdint.h>

#define PADS 64
#define IMAGE_BYTES (2 * PADS / 8 + 3)

/* Gives the number of registers of a rig with that driver; 0: there is no such driver. */
int boards_init(const char *driver, int pads);
void boards_output(void);          /* the chain's outputs have changed */
void boards_strobe(bool level);
const uint8_t *boards_image(void); /* pads on bus 1, on bus 2, series, keys, aux */
void boards_on_change(void (*changed)(void));

#endif
