#define _GNU_SOURCE
#include "serial.h"

#include <errno.h>
#include <fcntl.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_interrupts.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "machine.h"

#define UDR 0xc6
#define UCSRA 0xc0
#define UBRRL 0xc4
#define UBRRH 0xc5
#define WIRE_BAUD 250000
#define BITS_PER_BYTE 10
#define CYCLES_PER_BYTE (MACHINE_HZ * BITS_PER_BYTE / WIRE_BAUD)
#define HELD 3 /* two in the buffer and one in the shift register */

static int master = -1, kept_slave = -1;
static uint8_t wire[1 << 16]; /* on its way, not yet at the chip */
static unsigned wire_length;
static bool wire_busy;

static avr_uart_t *uart;
static struct {
    uint8_t byte;
    bool overrun; /* bytes were lost just before this one */
    bool frame;   /* its stop bit was missing */
} held[HELD];
static int held_count;
static avr_cycle_count_t asked_at; /* when a message's end came in, until something goes out */
static unsigned long latency;
static uint64_t heard_at; /* cycle at which the latest message's end came in */
static unsigned frame_after; /* bytes until one without its stop bit; 0: none */

static void (*on_sent)(uint8_t); /* takes what the chip sends in the pty's place */

static avr_io_read_t read_status;
static void *read_status_parameter;

const char *serial_open(void)
{
    master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (master < 0 || grantpt(master) || unlockpt(master)) {
        perror("emulator: no pty");
        exit(2);
    }
    const char *path = ptsname(master);
    /* Kept open, so that the line survives its clients and starts out raw. */
    kept_slave = open(path, O_RDWR | O_NOCTTY);
    struct termios settings;
    if (kept_slave < 0 || tcgetattr(kept_slave, &settings)) {
        perror("emulator: can't open its own pty");
        exit(2);
    }
    cfmakeraw(&settings);
    tcsetattr(kept_slave, TCSANOW, &settings);
    return path;
}

/* A chip that runs at another speed than the wire sees framing errors and wrong bits. */
static bool is_at_wire_speed(void)
{
    unsigned divisor = machine->data[UBRRL] | machine->data[UBRRH] << 8;
    unsigned samples = avr_regbit_get(machine, uart->u2x) ? 8 : 16;
    double baud = (double)MACHINE_HZ / samples / (divisor + 1);
    return baud > WIRE_BAUD * 0.97 && baud < WIRE_BAUD * 1.03;
}

/* The data sheet: with both buffer places full and a third byte waiting in the shift
 * register, the next start bit overwrites that third byte, and DOR tells that bytes are
 * missing before the one that is read next to the loss. */
static void arrive(uint8_t byte)
{
    if (!avr_regbit_get(machine, uart->rxen))
        return;
    if (!is_at_wire_speed())
        byte ^= 0x5a;
    if (byte == '\n') {
        asked_at = machine->cycle;
        heard_at = machine_cycle();
    }
    bool overrun = held_count == HELD;
    if (overrun)
        held_count--;
    held[held_count].byte = byte;
    held[held_count].overrun = overrun;
    held[held_count].frame = frame_after && --frame_after == 0;
    held_count++;
    avr_raise_interrupt(machine, &uart->rxc);
}

static avr_cycle_count_t wire_tick(avr_t *avr, avr_cycle_count_t when, void *parameter)
{
    (void)avr;
    (void)parameter;
    arrive(wire[0]);
    memmove(wire, wire + 1, --wire_length);
    wire_busy = wire_length > 0;
    return wire_busy ? when + CYCLES_PER_BYTE : 0;
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *parameter)
{
    (void)parameter;
    if (held_count) {
        avr->data[address] = held[0].byte;
        memmove(held, held + 1, sizeof held[0] * --held_count);
    }
    avr_clear_interrupt(avr, &uart->rxc);
    avr_regbit_clear(avr, uart->rxc.raised);
    if (held_count)
        avr_raise_interrupt(avr, &uart->rxc);
    return avr->data[address];
}

static uint8_t read_flags(avr_t *avr, avr_io_addr_t address, void *parameter)
{
    (void)parameter;
    uint8_t flags = read_status(avr, address, read_status_parameter);
    flags &= ~(uart->dor.mask << uart->dor.bit | uart->fe.mask << uart->fe.bit);
    if (held_count && held[0].overrun)
        flags |= uart->dor.mask << uart->dor.bit;
    if (held_count && held[0].frame)
        flags |= uart->fe.mask << uart->fe.bit;
    return flags;
}

static void sent(avr_irq_t *irq, uint32_t value, void *parameter)
{
    (void)irq;
    (void)parameter;
    uint8_t byte = value;
    if (asked_at)
        latency = machine->cycle - asked_at;
    asked_at = 0;
    if (!is_at_wire_speed())
        byte ^= 0x5a;
    if (on_sent) {
        on_sent(byte);
        return;
    }
    /* Nobody reading means a full pty: the byte is gone, as on a real wire. */
    if (write(master, &byte, 1) < 0 && errno != EAGAIN)
        perror("emulator: pty");
}

void serial_attach(void)
{
    avr_irq_t *output = avr_io_getirq(machine, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT);
    for (avr_io_t *io = machine->io_port; io; io = io->next)
        if (io->irq && output >= io->irq && output < io->irq + io->irq_count)
            uart = (avr_uart_t *)io; /* an IO module's struct begins with its avr_io_t */
    uint32_t flags = 0; /* no echo to the console, no sleeping inside simavr */
    avr_ioctl(machine, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(output, sent, NULL);

    /* simavr's own receiver never loses a byte, so ours takes its place. */
    __auto_type data = &machine->io[AVR_DATA_TO_IO(UDR)].r;
    data->c = read_data;
    __auto_type status = &machine->io[AVR_DATA_TO_IO(UCSRA)].r;
    read_status = status->c;
    read_status_parameter = status->param;
    status->c = read_flags;
}

static void start_wire(void)
{
    if (wire_length && !wire_busy) {
        wire_busy = true;
        avr_cycle_timer_register(machine, CYCLES_PER_BYTE, wire_tick, NULL);
    }
}

void serial_restarted(void)
{
    held_count = 0;
    wire_busy = false; /* simavr dropped its timers */
    start_wire();
}

unsigned long serial_latency(void) { return latency; }

uint64_t serial_heard(void) { return heard_at; }

void serial_on_sent(void (*sent)(uint8_t)) { on_sent = sent; }

void serial_frame(unsigned bytes) { frame_after = bytes; }

int serial_fd(void) { return wire_length < sizeof wire ? master : -1; }

void serial_take(void)
{
    if (wire_length == sizeof wire)
        return;
    ssize_t count = read(master, wire + wire_length, sizeof wire - wire_length);
    if (count > 0)
        wire_length += count;
    start_wire();
}

void serial_put(uint8_t byte)
{
    if (wire_length < sizeof wire)
        wire[wire_length++] = byte;
    start_wire();
}
