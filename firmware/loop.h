/* What the main loop does, without the chip it runs on. */
#ifndef LOOP_H
#define LOOP_H

#include <stdbool.h>

void loop_start(void); /* once, with interrupts on */
bool loop_turn(void);  /* touch, guard, supply, one command; true: come again at once */

#endif
