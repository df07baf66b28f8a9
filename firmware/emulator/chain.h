/* The 74HC595-type chain on port D, with the last register's serial output read back. */
#ifndef CHAIN_H
#define CHAIN_H

#include <stdbool.h>
#include <stdint.h>

#define REGISTERS_MAX 32

enum read_back { READ_BACK_OK, READ_BACK_LOW, READ_BACK_HIGH };

void chain_init(int registers);
void chain_pin(int bit, bool level); /* port D changed */
void chain_restarted(void);          /* the processor forgot its input's level */
void chain_fault(enum read_back fault);
void chain_length(int registers);           /* a board was pulled out, or added */
void chain_stick(int bit, int level);       /* a stage that keeps its level; level -1: none does */
const uint8_t *chain_latched(void);
bool chain_enabled(void);
void chain_on_output(void (*changed)(void));

#endif
