/* Protects toy and controller without the host: dead-man, longest closure, what may be closed
 * together, over-current, and the one latch of the controller. */
#ifndef GUARD_H
#define GUARD_H

#include <stdbool.h>
#include <stdint.h>

#include "image.h"

#define SELF_TEST_CHAIN 1     /* the chain doesn't give back what is shifted through it */
#define SELF_TEST_CONVERTER 2 /* the converter stands still: no current would be seen */
#define SELF_TEST_SUPPLY 4    /* less than 4.6 V for the relays, while all are open */

uint8_t guard_self_test(void); /* 0: passed; moves no relay */

void guard_run(void);
void guard_fed(uint32_t at_us); /* a message came in then, and is carried out */
void guard_off(void); /* everything open, keys up, touch aborted, supply off */
bool guard_is_anything_on(void);

int16_t guard_allows(const image_t *wanted); /* 0 or why not */
bool guard_is_low(const image_t *image);      /* a low pad on each bus */
bool guard_has_low(void);                     /* such an image is closed now */
void guard_watch(const image_t *now, uint32_t now_us);
bool guard_keep(uint32_t now_us); /* closed pads may stay so for a hold's time from now on */

void guard_latch(int16_t error); /* off, and off until guard_clear() */
bool guard_is_latched(void);
bool guard_current_tripped(void); /* latched, and by the supply current */
void guard_clear(void);

#endif
