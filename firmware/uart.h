/* Serial port: 8N1, a receive ring that marks every loss, a transmit ring. */
#ifndef UART_H
#define UART_H

#include <stdbool.h>
#include <stdint.h>

/* What uart_get() gives beside printable characters, blanks and '\n'. */
#define UART_EMPTY (-1)
#define UART_BAD 0x01  /* a byte no message may hold, or one with a framing error */
#define UART_LOST 0x02 /* in place of the '\n' of a message that lost bytes */

void uart_init(void);
/* Listens for QUIET_US after a start, with interrupts on. True: bytes came, perhaps the tail
 * of a message whose head the restart lost; they and what follows up to '\n' are dropped. */
bool uart_start_clean(void);
int16_t uart_get(void);
bool uart_has_input(void);
bool uart_is_sent(void); /* the transmit ring is empty */
void uart_put(char byte); /* waits at most UART_PUT_WAIT_US, then drops the byte */

#endif
