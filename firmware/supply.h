/* The toy's supply switch with its heartbeat, the bleed across the rail (never both on), and
 * how long the rail takes to fall. */
#ifndef SUPPLY_H
#define SUPPLY_H

#include <stdbool.h>
#include <stdint.h>

void supply_set(bool on);
bool supply_is_on(void);
void supply_run(void); /* from the main loop alone: its going round is what the heartbeat tells */

bool supply_rail_is_down(void);        /* below 0.2 V */
bool supply_fall_ms(uint16_t *ms);     /* false: still falling, or never */

#endif
