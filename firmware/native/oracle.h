/* What must hold whatever comes in. Each breach is told on standard error and ends the program.
 *
 *   - nothing closes, and neither supply nor reset line goes on, unless a complete valid command
 *     asked for it since the machine last had nothing to do;
 *   - never more pads than the maximum, no forbidden pad, no two rails joined, no pad of a group
 *     that can carry more than the configured current;
 *   - a low pad is alone on its bus; two meet over the first series channel alone, without holds,
 *     senses or continuity, while the supply is up, for their own time and no longer;
 *   - a path closes only after what opened has broken; nothing stays closed beyond its time;
 *   - the latch holds, and everything off with it, until a command clears it;
 *   - nothing is on when the dead-man time has passed without a whole message;
 *   - the supply is off within 1 ms over the peak limit, within 1 s over the average one, within
 *     22 ms of full scale just after switching on, and where its rail doesn't come up;
 *   - the heartbeat rises each 2 to 4 ms while the supply's line is up, and never without it;
 *   - supply and bleed are never on together, unless the switch itself is faulty. */
#ifndef ORACLE_H
#define ORACLE_H

#include <stdint.h>

#include "machine.h"

void oracle_restart(void); /* the machine has just started */
void oracle_deaf(void);    /* what is sent up to the next '\n' is not to be heard */
void oracle_sent(uint8_t byte, enum machine_flaw flaw);
void oracle_look(void);    /* now and then: at least every 20 ms while anything is on */
void oracle_current_ma(uint16_t ma);
void oracle_faulty_switch(bool is_faulty);
void oracle_rail_down(bool is_down); /* whatever the switch does */

extern uint64_t oracle_closings, oracle_latchings, oracle_supplyings, oracle_low; /* seen so far */

#endif
