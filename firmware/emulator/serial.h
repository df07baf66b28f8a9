/* The serial port: a pty on one side, on the other the real receiver's two-byte buffer. */
#ifndef SERIAL_H
#define SERIAL_H

#include <stdint.h>

const char *serial_open(void); /* the pty's path */
void serial_attach(void);      /* after machine_load() */
void serial_restarted(void);
int serial_fd(void);           /* to poll() for input */
void serial_frame(unsigned bytes); /* the byte this many from now has no stop bit */
void serial_take(void);        /* moves bytes from the pty to the wire */
void serial_put(uint8_t byte); /* the same with one that came otherwise */
void serial_on_sent(void (*sent)(uint8_t)); /* who takes the chip's bytes in the pty's place */
uint64_t serial_heard(void);   /* cycle at which the latest message's end came in */
/* Cycles from the end of the latest message that was answered to its reply's first byte. */
unsigned long serial_latency(void);

#endif
