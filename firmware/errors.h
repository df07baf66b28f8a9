/* The error queue. What each number means stands in errors.def. */
#ifndef ERRORS_H
#define ERRORS_H

#include <avr/pgmspace.h>
#include <stdint.h>

void errors_push(int16_t number); /* sets its bit of the standard event register too */
int16_t errors_pop(void);         /* 0 when the queue is empty */
uint8_t errors_count(void);
void errors_clear(void);
PGM_P errors_text(int16_t number);

#endif
