/* The toy's supply switch with its heartbeat, the bleed across the rail (never both on), and
 * what the rail does: whether it follows the switch, and how long it takes to fall. */
#ifndef SUPPLY_H
#define SUPPLY_H

#include <stdbool.h>
#include <stdint.h>

void supply_init(void);
/* Takes up to 50 ms: first each half of the switch has to show that it opens by itself. Gives
 * 0; 112 while the rail isn't down yet; 111 when a half doesn't hold it down. */
int16_t supply_on(void);
void supply_off(void);
bool supply_is_on(void);
bool supply_is_up(void); /* and beyond its blanking, and the rail above 1 V */
void supply_run(void);  /* from the main loop alone: its going round is what the heartbeat tells */
void supply_beat(void); /* from the clock's interrupt, each millisecond */

int16_t supply_fault(void);        /* 110 or 111, once; else 0 */
bool supply_rail_is_down(void);    /* below 0.2 V */
bool supply_fall_ms(uint16_t *ms); /* false: still falling, or never */

#endif
