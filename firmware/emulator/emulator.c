/* emulator [options] controller.elf
 *
 * Runs the controller's firmware with its serial port on a pty, whose path is the first
 * line of standard output, until SIGTERM.
 *
 *   --step        time stands still until a client lets it go on; without, paced to real time
 *   --socket PATH events out and commands in, see README.md
 *   --wait        the first instruction waits for the socket's first client
 *   --driver NAME reed (as it is without), crosspoint or multiplexer
 *   --pads N      fitted, 8-64 in steps of 8; 24 without
 *   --eeprom FILE what the EEPROM holds at first; without, all ones
 *   --until-eof   also stop when standard input ends (the parent has died)
 */
#define _GNU_SOURCE
#include <getopt.h>
#include <limits.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "boards.h"
#include "chain.h"
#include "link.h"
#include "machine.h"
#include "serial.h"

#define SLICE_CYCLES (MACHINE_HZ / 2000) /* 0.5 ms */
#define TICK_CYCLES (MACHINE_HZ / 200)   /* 5 ms */
#define SHORTEST_HOLD_CYCLES (MACHINE_HZ / 1000 * 6) /* the worst corner of the charge pump */
#define RAIL_DIVIDER 3
#define REFERENCE_MV 2500
#define CATCH_UP_NS 1000000000LL         /* further behind than this is given up */

#define REPLY_BYTES 100                  /* of the serial line in one line told */

static volatile sig_atomic_t stopping;
static bool may_run; /* stepped: time may go on, up to the cycle `granted_until` */
static uint64_t granted_until;
static uint8_t reply[REPLY_BYTES];
static int reply_length;
static struct {
    bool wanted;
    int channel;
    unsigned millivolts;
} at_closing; /* what a converter's pin has as soon as a pad is closed */
static bool marker, gate, bleed, reset_line, supply;

/* The charge pump passes rising edges only; the longest time between two is kept. */
static bool heartbeat;
static uint64_t beat_cycle, longest_gap;
static unsigned long beats;
static uint64_t hold_cycles = SHORTEST_HOLD_CYCLES;
static enum { SWITCH_GOOD, SWITCH_WELDED, SWITCH_LINE, SWITCH_BEATS } fault;

/* The rail has the cells' voltage while the switch is on, and falls in no time: cells of 0 mV
 * are reversed or absent ones. `forced` is a rail that does what it wants. */
static unsigned cells_mv = 4500;
static bool forced;

static void stop(int signal)
{
    (void)signal;
    stopping = 1;
}

static void say_pin(char port, int bit, bool level)
{
    link_say("pin %c%d %d %llu\n", port, bit, level, (unsigned long long)machine_cycle());
}

static bool is_a_pad_closed(void)
{
    for (int n = 0; n < 2 * PADS / 8; n++)
        if (boards_image()[n])
            return true;
    return false;
}

static void say_closed(void)
{
    if (at_closing.wanted && is_a_pad_closed()) {
        at_closing.wanted = false;
        machine_adc(at_closing.channel, at_closing.millivolts);
    }
    char hex[2 * IMAGE_BYTES + 1];
    for (int n = 0; n < IMAGE_BYTES; n++)
        sprintf(hex + 2 * n, "%02x", boards_image()[n]);
    link_say("closed %s %llu\n", hex, (unsigned long long)machine_cycle());
}

static void set_rail(void)
{
    if (!forced)
        machine_adc(0, supply ? cells_mv / RAIL_DIVIDER : 0);
}

/* The toy's supply is on only while the charge pump holds its switch, too. */
static void look_at_supply(void)
{
    uint64_t until = beat_cycle + hold_cycles;
    bool line = gate || fault == SWITCH_LINE;
    bool held = (beat_cycle && machine_cycle() <= until) || fault == SWITCH_BEATS;
    bool on = (line && held) || fault == SWITCH_WELDED;
    if (on == supply)
        return;
    supply = on;
    uint64_t cycle = !on && gate ? until : machine_cycle();
    link_say("supply %d %llu\n", supply, (unsigned long long)cycle);
    set_rail();
}

static void beat(bool level)
{
    if (level == heartbeat)
        return;
    heartbeat = level;
    if (!level)
        return;
    uint64_t now = machine_cycle();
    beats++;
    look_at_supply(); /* it may have dropped out since the latest slice */
    if (supply && beat_cycle && now - beat_cycle > longest_gap)
        longest_gap = now - beat_cycle;
    beat_cycle = now;
    look_at_supply();
}

/* The chain's own serial pins, strobe and heartbeat aren't told: what they do is. */
static void pin_changed(char port, int bit, bool level)
{
    if (port == 'D' && bit >= 4) {
        chain_pin(bit, level);
        return;
    }
    if (port == 'B' && bit == 3) {
        boards_strobe(level);
        return;
    }
    if (port == 'B' && bit == 2) {
        beat(level);
        return;
    }
    if (port == 'D' && bit == 2)
        gate = level;
    else if (port == 'D' && bit == 3)
        marker = level;
    else if (port == 'B' && bit == 1)
        bleed = level;
    else if (port == 'C' && bit == 2)
        reset_line = level;
    else
        return;
    look_at_supply();
    say_pin(port, bit, level);
}

static void restarted(void)
{
    serial_restarted();
    chain_restarted();
    link_say("reset %llu\n", (unsigned long long)machine_cycle());
}

static void greet(void)
{
    say_pin('D', 2, gate);
    say_pin('D', 3, marker);
    say_pin('B', 1, bleed);
    say_pin('C', 2, reset_line);
    link_say("supply %d %llu\n", supply, (unsigned long long)machine_cycle());
    say_closed();
}

static void injected(int channel, uint32_t millivolts)
{
    link_say("adc %d %u %llu\n", channel, (unsigned)millivolts,
             (unsigned long long)machine_cycle());
}

static void show_eeprom(void)
{
    char hex[2 * MACHINE_EEPROM_SHOWN + 1];
    for (int n = 0; n < MACHINE_EEPROM_SHOWN; n++)
        sprintf(hex + 2 * n, "%02x", machine_eeprom()[n]);
    link_say("eeprom %s\n", hex);
}

static void say_reply(void)
{
    char hex[2 * REPLY_BYTES + 1];
    if (!reply_length)
        return;
    for (int n = 0; n < reply_length; n++)
        sprintf(hex + 2 * n, "%02x", reply[n]);
    link_say("serial %s\n", hex);
    reply_length = 0;
}

static void serial_sent(uint8_t byte)
{
    reply[reply_length++] = byte;
    if (byte == '\n' || reply_length == REPLY_BYTES)
        say_reply();
}

static void send_serial(const char *hex)
{
    unsigned byte;
    for (; sscanf(hex, "%2x", &byte) == 1; hex += 2)
        serial_put(byte);
}

static void command(const char *line)
{
    int channel, number, level;
    unsigned millivolts, bytes, value;
    unsigned long long cycles;
    if (sscanf(line, "run %llu", &cycles) == 1) {
        may_run = true;
        granted_until = machine_cycle() + cycles;
    } else if (!strcmp(line, "now"))
        link_say("now %llu %llu\n", (unsigned long long)machine_cycle(),
                 (unsigned long long)serial_heard());
    else if (!strncmp(line, "serial ", 7))
        send_serial(line + 7);
    else if (sscanf(line, "adc %d %u", &channel, &millivolts) == 2)
        machine_adc(channel, millivolts);
    else if (sscanf(line, "rail %u", &millivolts) == 1) {
        forced = true;
        machine_adc(0, millivolts / RAIL_DIVIDER);
    } else if (sscanf(line, "cells %u", &cells_mv) == 1) {
        forced = false;
        set_rail();
    } else if (sscanf(line, "switch %d", &number) == 1) {
        fault = number;
        look_at_supply();
    } else if (sscanf(line, "hold %llu", &cycles) == 1)
        hold_cycles = cycles;
    else if (!strcmp(line, "beats"))
        link_say("beats %lu\n", beats);
    else if (!strcmp(line, "gap")) {
        link_say("gap %llu\n", (unsigned long long)longest_gap);
        longest_gap = 0;
    }
    else if (sscanf(line, "later %llu adc %d %u", &cycles, &channel, &millivolts) == 3)
        machine_adc_later(cycles, channel, millivolts, injected);
    else if (sscanf(line, "closing adc %d %u", &at_closing.channel, &at_closing.millivolts) == 2)
        at_closing.wanted = true;
    else if (!strcmp(line, "reset"))
        machine_reset(RESET_PIN);
    else if (!strcmp(line, "reset brownout"))
        machine_reset(RESET_BROWN_OUT);
    else if (!strcmp(line, "converter dead"))
        machine_stop_converter();
    else if (sscanf(line, "eeprom %d %x", &number, &value) == 2)
        machine_eeprom()[number & 1023] = value;
    else if (sscanf(line, "fuse %d %x", &number, &value) == 2)
        machine_set_fuse(number, value);
    else if (!strcmp(line, "eeprom"))
        show_eeprom();
    else if (!strcmp(line, "latency"))
        link_say("latency %lu\n", serial_latency());
    else if (!strcmp(line, "stack"))
        link_say("stack %d\n", machine_untouched());
    else if (sscanf(line, "registers %d", &number) == 1 && number > 0 && number <= REGISTERS_MAX)
        chain_length(number);
    else if (sscanf(line, "stuck %d %d", &number, &level) == 2 && number >= 0 &&
             number < 8 * REGISTERS_MAX)
        chain_stick(number, level);
    else if (!strcmp(line, "jam"))
        machine_jam();
    else if (sscanf(line, "blind %llu", &cycles) == 1) {
        machine_blind(cycles);
        link_say("blind %llu\n", (unsigned long long)machine_cycle() + cycles);
    } else if (sscanf(line, "frame %u", &bytes) == 1)
        serial_frame(bytes);
    else if (!strcmp(line, "readback ok"))
        chain_fault(READ_BACK_OK);
    else if (!strcmp(line, "readback low"))
        chain_fault(READ_BACK_LOW);
    else if (!strcmp(line, "readback high"))
        chain_fault(READ_BACK_HIGH);
    else
        link_say("unknown %s\n", line);
}

static long long host_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000000000LL + now.tv_nsec;
}

/* Takes what the pty, the socket and standard input have, until `until_ns`, or until a client
 * lets stepped time go on; one system call when nothing comes, since this runs two thousand
 * times a second. */
static void serve(long long until_ns, bool until_eof)
{
    struct pollfd polls[LINK_POLLS + 2];
    for (;;) {
        long long left_ns = until_ns - host_ns();
        if (left_ns < 0)
            left_ns = 0;
        int count = 0;
        polls[count++] = (struct pollfd){.fd = serial_fd(), .events = POLLIN};
        polls[count++] = (struct pollfd){.fd = until_eof ? STDIN_FILENO : -1, .events = POLLIN};
        count += link_polls(polls + count);
        struct timespec pause = {.tv_sec = left_ns / 1000000000LL,
                                 .tv_nsec = left_ns % 1000000000LL};
        if (ppoll(polls, count, &pause, NULL) <= 0)
            return;
        if (polls[0].revents)
            serial_take();
        char waste[64];
        if (polls[1].revents && read(STDIN_FILENO, waste, sizeof waste) <= 0)
            stopping = 1;
        link_take(command, greet);
        link_flush();
        if (left_ns == 0 || stopping || may_run)
            return;
    }
}

static void run_paced(bool until_eof)
{
    long long start_ns = host_ns();
    uint64_t next_tick = TICK_CYCLES;
    for (uint64_t slice = SLICE_CYCLES; !stopping; slice += SLICE_CYCLES) {
        machine_run_until(slice);
        look_at_supply();
        if (slice >= next_tick) {
            link_say("tick %llu\n", (unsigned long long)slice);
            next_tick += TICK_CYCLES;
        }
        link_flush();
        long long due_ns = start_ns + (long long)(slice * 1000 / (MACHINE_HZ / 1000000));
        long long behind_ns = host_ns() - due_ns;
        if (behind_ns > CATCH_UP_NS) {
            link_say("late %lld\n", behind_ns / 1000000);
            start_ns += behind_ns;
        }
        serve(due_ns, until_eof);
    }
}

/* Time stops at the end of the slice in which something is told, or of what was granted. */
static void run_stepped(bool until_eof)
{
    serial_on_sent(serial_sent);
    while (!stopping) {
        if (!may_run) {
            serve(LLONG_MAX, until_eof);
            continue;
        }
        unsigned long told = link_lines();
        while (!stopping && link_lines() == told && machine_cycle() < granted_until) {
            uint64_t slice = machine_cycle() + SLICE_CYCLES;
            machine_run_until(slice < granted_until ? slice : granted_until);
            look_at_supply();
        }
        say_reply();
        may_run = false;
        link_say("ran %llu\n", (unsigned long long)machine_cycle());
        link_flush();
    }
}

int main(int count, char **arguments)
{
    static const struct option options[] = {
        {"step", no_argument, 0, 't'}, {"socket", required_argument, 0, 's'},
        {"wait", no_argument, 0, 'w'},
        {"until-eof", no_argument, 0, 'e'}, {"driver", required_argument, 0, 'd'},
        {"pads", required_argument, 0, 'p'}, {"eeprom", required_argument, 0, 'm'},
        {0, 0, 0, 0},
    };
    bool step = false, wait = false, until_eof = false;
    const char *path = NULL, *driver = "reed", *eeprom = NULL;
    int pads = 24;
    for (int option; (option = getopt_long(count, arguments, "", options, NULL)) != -1;) {
        switch (option) {
        case 't':
            step = true;
            break;
        case 's':
            path = optarg;
            break;
        case 'd':
            driver = optarg;
            break;
        case 'p':
            pads = atoi(optarg);
            break;
        case 'm':
            eeprom = optarg;
            break;
        case 'w':
            wait = true;
            break;
        case 'e':
            until_eof = true;
            break;
        default:
            return 2;
        }
    }
    int registers = pads % 8 || pads < 8 || pads > PADS ? 0 : boards_init(driver, pads);
    if (optind != count - 1 || ((wait || step) && !path) || !registers) {
        fprintf(stderr, "usage: emulator [--driver NAME] [--pads N] [--eeprom FILE] "
                        "[--socket PATH [--wait] [--step]] [--until-eof] controller.elf\n");
        return 2;
    }
    struct sigaction action = {.sa_handler = stop};
    sigaction(SIGTERM, &action, NULL);
    sigaction(SIGINT, &action, NULL);

    machine_on_pin(pin_changed);
    machine_on_reset(restarted);
    chain_on_output(boards_output);
    boards_on_change(say_closed);
    machine_load(arguments[optind]);
    if (eeprom)
        machine_load_eeprom(eeprom);
    chain_init(registers);
    machine_adc(5, REFERENCE_MV);
    serial_attach();
    const char *pty = serial_open();
    if (path)
        link_open(path);
    printf("%s\n", pty);
    fflush(stdout);
    if (wait)
        link_wait_for_client();
    link_take(command, greet);
    (step ? run_stepped : run_paced)(until_eof);
    link_close();
    return 0;
}
