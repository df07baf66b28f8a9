/* In place of the firmware's pins.h (the compiler is told to include this one first): each
 * call takes time, lets due interrupts in, and moves the machine's registers and switches. */
#ifndef PINS_H
#define PINS_H

#include <stdbool.h>

void pin_supply(bool on);
void pin_marker(bool on);
void pin_bleed(bool on);
void pin_reset_line(bool pull);
void pin_heartbeat_toggle(void);
void pin_drivers_off(void);
void pin_drivers_on(void);
void pin_chain_data(bool high);
void pin_chain_clock(void);
void pin_chain_latch(void);
bool pin_chain_read(void);
void pin_strobe(void);

#endif
