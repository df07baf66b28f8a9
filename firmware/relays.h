/* What is closed now: the one owner of the outputs' image. */
#ifndef RELAYS_H
#define RELAYS_H

#include "image.h"

void relays_init(void);
/* Opens what must open, waits until that has broken, closes the rest. Gives why it was refused;
 * a chain that fails its read-back opens everything and latches the guard instead. */
int16_t relays_set(const image_t *wanted);
void relays_off(void);
const image_t *relays_now(void);
uint32_t relays_switched_us(void); /* when the last change reached the outputs */

#endif
