#include "uart.h"

#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"
#include "clock.h"

#define DIVISOR (F_CPU / 16 / BAUD_RATE - 1)
#if F_CPU != 16 * BAUD_RATE * (DIVISOR + 1)
#error "the baud rate isn't exact at this clock"
#endif

#define UART_PUT_WAIT_US 20000UL
#define QUIET_US 20000 /* longer than a USB converter holds back a message's next piece */

static volatile uint8_t rx[256]; /* indices wrap by themselves */
static volatile uint8_t rx_head, rx_tail;
static uint8_t rx_losing; /* once running, touched by the receive interrupt only */

static volatile uint8_t tx[256];
static volatile uint8_t tx_head, tx_tail;

void uart_init(void)
{
    UBRR0 = DIVISOR;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
    UCSR0B = (1 << RXCIE0) | (1 << RXEN0) | (1 << TXEN0);
}

bool uart_start_clean(void)
{
    clock_wait_us(QUIET_US);
    bool heard = false;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (rx_head || rx_losing) {
            heard = true;
            rx_losing = rx[(uint8_t)(rx_head - 1)] != '\n';
            rx_head = rx_tail = 0;
        }
    }
    return heard;
}

/* A message that loses a byte anywhere is dropped up to its '\n', where a mark goes into
 * the ring instead: messages before and after it stay whole, and none is joined to another. */
ISR(USART_RX_vect)
{
    uint8_t status = UCSR0A;
    uint8_t byte = UDR0;
    if (status & (1 << DOR0))
        rx_losing = 1;
    if (status & (1 << FE0))
        byte = UART_BAD;
    else if (byte == '\r' || byte == '\t')
        byte = ' ';
    else if (byte != '\n' && (byte < 0x20 || byte > 0x7e))
        byte = UART_BAD;

    if (rx_losing) {
        if (byte != '\n')
            return;
        byte = UART_LOST;
    }
    uint8_t room = (uint8_t)(rx_tail - rx_head - 1);
    bool ends = byte == '\n' || byte == UART_LOST;
    if (room == 0 && ends) { /* no place even for this end: it takes the one before along */
        rx[(uint8_t)(rx_head - 1)] = UART_LOST;
        rx_losing = 0;
        return;
    }
    if (room == 0 || (room == 1 && !ends)) {
        rx_losing = 1; /* the last place is kept for the end of a message */
        return;
    }
    rx[rx_head++] = byte;
    rx_losing = 0;
}

ISR(USART_UDRE_vect)
{
    if (tx_head == tx_tail) {
        UCSR0B &= ~(1 << UDRIE0);
        return;
    }
    UDR0 = tx[tx_tail];
    tx_tail++;
}

bool uart_has_input(void) { return rx_head != rx_tail; }

int16_t uart_get(void)
{
    if (rx_head == rx_tail)
        return UART_EMPTY;
    return rx[rx_tail++];
}

bool uart_is_sent(void) { return tx_head == tx_tail; }

void uart_put(char byte)
{
    uint8_t next = tx_head + 1;
    if (next == tx_tail) {
        uint32_t start_us = clock_us();
        while (next == tx_tail)
            if (clock_since(clock_us(), start_us) > UART_PUT_WAIT_US)
                return;
    }
    tx[tx_head] = byte;
    tx_head = next;
    UCSR0B |= 1 << UDRIE0;
}
