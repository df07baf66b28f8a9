/* The controller without its chip: the firmware's own modules over a virtual clock, a wire of
 * bytes, a chain of shift registers, a converter and an EEPROM that are plain memory.
 *
 * There is one machine. Time passes only in machine_run() and machine_start(), and while the
 * firmware waits, shifts or reads its clock. */
#ifndef MACHINE_H
#define MACHINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "image.h"

#define BYTE_US 40 /* 10 bits at 250,000 baud */

enum machine_cause { CAUSE_POWER, CAUSE_WATCHDOG, CAUSE_BROWN_OUT };
enum machine_read_back { READ_BACK_OK, READ_BACK_LOW, READ_BACK_HIGH };
enum machine_flaw { FLAW_NONE, FLAW_OVERRUN, FLAW_FRAME }; /* of a byte as it is received */

/* The outside, as the pins have it. */
struct machine_outputs {
    image_t closed; /* what the drivers drive; empty while they are off */
    bool supply, bleed, reset_line, marker; /* supply: the switch itself, not its line */
};

#define HOLD_US 20000 /* the longest that a rise of the heartbeat holds the switch */

enum machine_switch { SWITCH_GOOD, SWITCH_WELDED, SWITCH_LINE, SWITCH_BEATS };

/* Called at every change of the outputs. */
extern void (*machine_watch)(const struct machine_outputs *outputs, uint64_t now_us);

void machine_blank(void);                  /* as it leaves the factory: EEPROM and world too */
void machine_start(enum machine_cause cause); /* a restart; EEPROM and what is outside stay */
void machine_keep(void);   /* the machine as it is now ... */
void machine_return(void); /* ... is had again as often as wanted */

void machine_send(uint8_t byte, enum machine_flaw flaw); /* one byte's time after the last */
size_t machine_wire_left(void);        /* sent, and not yet received */
void machine_hush(void);               /* what was sent and not received is gone */
void machine_run(uint32_t us);         /* lets time pass */
void machine_skip(uint32_t us);        /* the same at once; nothing may be on or under way */
bool machine_settle(uint32_t most_us); /* until nothing is left to do; false: not by then */
size_t machine_take(char *into, size_t most); /* bytes replied so far */

void machine_current_ma(uint16_t ma);
void machine_rail_mv(int32_t mv); /* -1: as the supply switch says */
void machine_fall_us(uint32_t us); /* how long it is half-way after the switch has opened */
void machine_switch(enum machine_switch fault); /* closed always, without its line, or its beats */
uint32_t machine_longest_gap_us(void); /* between two rises with the line up, since last asked */
void machine_sense_mv(uint16_t bus_mv, uint16_t continuity_mv); /* at the pins */
void machine_read_back(enum machine_read_back fault);
void machine_boards(uint8_t boards); /* of 8 pads, in the chain */
void machine_spoil_eeprom(uint16_t place, uint8_t bits);

uint64_t machine_now_us(void);
const struct machine_outputs *machine_outputs(void);
uint32_t machine_current_now_ma(void);
bool machine_is_idle(void); /* no command runs, waits or is under way */
bool machine_is_latched(void);
bool machine_is_falling(void); /* the rail isn't down, and will be missed */
bool machine_is_touching(void);
/* Places of the configuration that are in force; see configuration.h. */
const void *machine_configuration(void);

#endif
