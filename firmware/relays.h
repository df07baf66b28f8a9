/* What is closed now: the one owner of the chain's image. */
#ifndef RELAYS_H
#define RELAYS_H

#include "chain.h"

void relays_init(void);
/* Opens what must open, waits the break time, closes the rest. False: the chain failed its
 * read-back, everything is open and the guard is latched. */
bool relays_set(const image_t *wanted);
void relays_off(void);
const image_t *relays_now(void);
uint32_t relays_switched_us(void); /* when the last change reached the outputs */

#endif
