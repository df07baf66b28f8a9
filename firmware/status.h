/* Status registers: the standard event register, OPERation and QUEStionable, and the status
 * byte that sums them up. */
#ifndef STATUS_H
#define STATUS_H

#include <stdbool.h>
#include <stdint.h>

/* Standard event register */
#define ESR_OPC 0x01
#define ESR_QYE 0x04
#define ESR_DDE 0x08
#define ESR_EXE 0x10
#define ESR_CME 0x20
#define ESR_PON 0x80

/* Status byte */
#define STB_QUEUE 0x04
#define STB_QUESTIONABLE 0x08
#define STB_MAV 0x10
#define STB_ESB 0x20
#define STB_MSS 0x40
#define STB_OPERATION 0x80

enum status_register { STATUS_OPERATION, STATUS_QUESTIONABLE };

/* Bits of OPERation */
#define OPER_MEASURING 4 /* a touch runs */

/* Bits of QUEStionable */
#define QUES_VOLTAGE 0 /* the toy's rail didn't come up, or fell */
#define QUES_CURRENT 1 /* the over-current guard has latched */
#define QUES_GUARD 9   /* the guard has latched, whatever for */

/* A condition has begun or ended; anything may say so again and again. */
void status_condition(enum status_register which, uint8_t bit, bool on);

struct status {
    uint16_t condition, event, enable, positive, negative;
};

extern struct status status[2];
extern uint8_t events_enable, service_enable; /* *ESE and *SRE */

void status_preset(void); /* STATus:PRESet: enables 0, rising edges only */
void status_clear(void);  /* every event register, as *CLS does */
uint16_t status_take(enum status_register which); /* an event register, cleared by reading */

void events_set(uint8_t bits);
uint8_t events_take(void); /* read and clear, as *ESR? does */

uint8_t status_byte(bool reply_pending);

#endif
