/* One way of putting pads onto the buses, chosen when the firmware is built. Series, key and
 * aux channels are relays with every driver. */
#ifndef DRIVER_H
#define DRIVER_H

#include <avr/pgmspace.h>

#include "image.h"

struct driver {
    uint8_t pads;              /* most that can be fitted */
    uint8_t bus_pads;          /* most on one bus at once */
    uint16_t make_us, break_us;
    uint16_t most_mv;          /* that a path may carry */
};

extern const struct driver driver;
extern const char driver_name[] PROGMEM;

uint8_t driver_registers(void); /* of the chain, with the pads that are configured */

/* Goes from `now` to `wanted`, which either only opens or only closes, and drives the outputs
 * unless nothing is closed. False: the chain didn't give back what went in. */
bool driver_write(const image_t *now, const image_t *wanted);

#endif
