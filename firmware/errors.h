/* The error queue and the standard event register that goes with it. */
#ifndef ERRORS_H
#define ERRORS_H

#include <avr/pgmspace.h>
#include <stdint.h>

#define ESR_OPC 0x01
#define ESR_QYE 0x04
#define ESR_DDE 0x08
#define ESR_EXE 0x10
#define ESR_CME 0x20
#define ESR_PON 0x80

#define STB_QUEUE 0x04
#define STB_MAV 0x10
#define STB_ESB 0x20
#define STB_MSS 0x40

void errors_push(int16_t number);
int16_t errors_pop(void); /* 0 when the queue is empty */
uint8_t errors_count(void);
PGM_P errors_text(int16_t number);

void events_set(uint8_t bits);
uint8_t events_take(void); /* read and clear, as *ESR? does */
void errors_clear(void);   /* queue and event register, as *CLS does */
extern uint8_t events_enable, service_enable;
uint8_t status_byte(uint8_t reply_pending);

#endif
