/* Protects toy and controller without the host: dead-man, longest closure, most closures,
 * and the one latch of the controller. */
#ifndef GUARD_H
#define GUARD_H

#include <stdbool.h>
#include <stdint.h>

#include "chain.h"

void guard_run(void);
void guard_fed(void); /* a whole message came in */
void guard_off(void); /* everything open, keys up, touch aborted, supply off */

bool guard_allows(const image_t *wanted); /* counts the closures of pads */
void guard_watch(const image_t *now, uint32_t now_us);

void guard_latch(int16_t error); /* off, and off until guard_clear() */
bool guard_is_latched(void);
void guard_clear(void);

void guard_set_deadman_ms(uint16_t ms);
uint16_t guard_deadman_ms(void);

#endif
