/* Lists of channels and pads: (@1!3,2!5:2!8) with buses, (@3,5:8) without. */
#ifndef CHANNELS_H
#define CHANNELS_H

#include "image.h"

#define CHANNELS_MAX (2 * PADS_MAX)

/* Sets the pads' bits in `image`; a range stays on its bus. `order`, when given, gets the
 * bits in the order of the list, at most CHANNELS_MAX of them. */
int16_t parse_channels(image_t *image, uint8_t *order, uint8_t *length);

int16_t parse_pads(uint8_t pads[BUS_BYTES]); /* such a list, or NONE */
void reply_pads(const uint8_t pads[BUS_BYTES]);

#endif
