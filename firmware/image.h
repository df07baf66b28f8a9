/* What is closed, whatever closes it: drivers turn an image into what their chips take. */
#ifndef IMAGE_H
#define IMAGE_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

#define BUS_BYTES (PADS_MAX / 8)
#define PAD_BYTES (2 * BUS_BYTES) /* the pads' bits come first */
#define IMAGE_BYTES (PAD_BYTES + HEADER_REGISTERS)

/* Bit n of the whole is bit n % 8 of byte n / 8. */
#define BIT_BUS_1 0
#define BIT_BUS_2 PADS_MAX
#define BIT_SERIES (2 * PADS_MAX)
#define BIT_KEYS (BIT_SERIES + SERIES_CHANNELS)
#define BIT_AUX (BIT_KEYS + KEY_CHANNELS)

/* Bits of aux */
#define AUX_SENSE_1 0x01    /* the sense line to bus 1 */
#define AUX_SENSE_2 0x02    /* and to bus 2 */
#define AUX_CONTINUITY 0x04 /* 0.18 V behind 10 kohm to bus 1, bus 2 to ground */
#define AUX_HOLD_FIRST 4    /* bit number of hold channel 1 */

typedef union {
    struct {
        uint8_t bus1[BUS_BYTES], bus2[BUS_BYTES]; /* pad n: bit (n - 1) % 8 of byte (n - 1) / 8 */
        uint8_t series, keys, aux;
    };
    uint8_t byte[IMAGE_BYTES];
} image_t;

bool image_is_empty(const image_t *image);
static inline bool image_has(const image_t *image, uint8_t bit)
{
    return image->byte[bit / 8] >> (bit % 8) & 1;
}

#endif
