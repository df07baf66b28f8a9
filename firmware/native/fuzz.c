/* The fuzz target. An input is what comes in: bytes go over the wire as they are, but
 * 0x80-0xa1, which say what happens in between. A message is given time to run when
 * its '\n' is sent, unless the host is in a hurry. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "handlers.h"
#include "oracle.h"

enum {
    TIME = 0x80, /* and 15 more: how long is in `times_ms` */
    LOST = 0x90, /* the byte before the next one was lost, and the receiver noticed */
    FRAME,       /* the next byte comes without its stop bit */
    PEAK,        /* the toy draws 400 mA ... */
    AVERAGE,     /* 200 mA ... */
    USUAL,       /* 20 mA */
    POWER,
    BROWN_OUT,
    WATCHDOG,
    CHATTER, /* a restart while the host talks: it can't be heard up to its next '\n' */
    STUCK_LOW,
    STUCK_HIGH,
    UNSTUCK,
    BOARDS, /* another board in the chain, or back to 3, while nothing is closed */
    SPOIL,  /* a bit of EEPROM, chosen by the next byte */
    HURRY,
    RAIL, /* the rail stays down whatever the switch does, or not any more */
    SHORT, /* the toy draws all that the converter can tell */
    SWITCH, /* the supply switch gets its next fault, or none again; while it is off */
    CONTROLS_END
};

static const uint32_t times_ms[16] = {1,   2,   5,    10,   20,   50,   100,  200,
                                      400, 600, 1000, 1500, 2100, 3100, 5000, 10500};

static uint64_t inputs, restarts;
static uint8_t boards;
static enum machine_switch fault;
static bool rail_down;

/* --- time --------------------------------------------------------------------------- */

#define SLICE_US 20000

static void pass(uint32_t us)
{
    while (us) {
        uint32_t slice_us = us < SLICE_US ? us : SLICE_US;
        machine_run(slice_us);
        oracle_look();
        us -= slice_us;
        if (machine_is_idle() && !machine_outputs()->supply && !machine_is_falling() && !machine_outputs()->reset_line &&
            image_is_empty(&machine_outputs()->closed)) {
            machine_skip(us); /* nothing can happen until something comes in */
            return;
        }
    }
}

static void let_run(void)
{
    machine_settle(BYTE_US * machine_wire_left() + 5000);
    oracle_look();
}

/* --- one input ---------------------------------------------------------------------- */

static void restart(enum machine_cause cause, const uint8_t **at, const uint8_t *end, bool chatter)
{
    restarts++;
    machine_hush();
    const uint8_t *from = *at;
    if (chatter)
        while (*at < end && (**at < TIME || **at >= CONTROLS_END)) {
            machine_send(**at, FLAW_NONE);
            if (*(*at)++ == '\n')
                break;
        }
    machine_start(cause);
    oracle_restart();
    if (*at > from && (*at)[-1] != '\n')
        oracle_deaf();
}

static void draw(uint16_t ma)
{
    machine_current_ma(ma);
    oracle_current_ma(ma);
}

static void set_switch(enum machine_switch to)
{
    fault = to;
    if (to != SWITCH_GOOD)
        oracle_faulty_switch(true);
    machine_switch(to);
    if (to == SWITCH_GOOD)
        oracle_faulty_switch(false);
}

static void control(uint8_t byte, const uint8_t **at, const uint8_t *end)
{
    switch (byte) {
    case PEAK:
        draw(400);
        break;
    case AVERAGE:
        draw(200);
        break;
    case USUAL:
        draw(20);
        break;
    case SHORT:
        draw(500);
        break;
    case SWITCH:
        if (fault != SWITCH_GOOD || !machine_outputs()->supply)
            set_switch(fault == SWITCH_BEATS ? SWITCH_GOOD : fault + 1);
        break;
    case POWER:
    case BROWN_OUT:
    case WATCHDOG:
    case CHATTER:
        restart(byte == BROWN_OUT  ? CAUSE_BROWN_OUT
                : byte == WATCHDOG ? CAUSE_WATCHDOG
                                   : CAUSE_POWER,
                at, end, byte == CHATTER);
        break;
    case STUCK_LOW:
        machine_read_back(READ_BACK_LOW);
        break;
    case STUCK_HIGH:
        machine_read_back(READ_BACK_HIGH);
        break;
    case UNSTUCK:
        machine_read_back(READ_BACK_OK);
        break;
    case BOARDS:
        if (image_is_empty(&machine_outputs()->closed) && !machine_is_touching()) {
            boards = boards == 3 ? 4 : boards == 4 ? 8 : boards == 8 ? 1 : 3;
            machine_boards(boards);
        }
        break;
    case SPOIL:
        if (*at < end) {
            machine_spoil_eeprom(**at & 0x7f, 1 << (**at % 7));
            (*at)++;
        }
        break;
    case RAIL:
        rail_down = !rail_down;
        machine_rail_mv(rail_down ? 100 : -1);
        oracle_rail_down(rail_down);
        break;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerInitialize(int *count, char ***arguments);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *at = data, *end = data + size;
    enum machine_flaw flaw = FLAW_NONE;
    bool hurry = false;
    inputs++;
    boards = 3;
    rail_down = false;
    fault = SWITCH_GOOD;
    machine_return();
    oracle_faulty_switch(false);
    oracle_rail_down(false);
    oracle_restart();
    oracle_current_ma(20);
    while (at < end) {
        uint8_t byte = *at++;
        if (byte < TIME || byte >= CONTROLS_END) {
            oracle_sent(byte, flaw);
            machine_send(byte, flaw);
            flaw = FLAW_NONE;
            if (byte == '\n' && !hurry)
                let_run();
        } else if (byte < LOST) {
            pass(times_ms[byte - TIME] * 1000);
            hurry = false;
        } else if (byte == LOST || byte == FRAME) {
            flaw = byte == LOST ? FLAW_OVERRUN : FLAW_FRAME;
        } else if (byte == HURRY) {
            hurry = true;
        } else {
            pass(BYTE_US * machine_wire_left() + 1);
            control(byte, &at, end);
        }
    }
    let_run();
    return 0;
}

/* --- the whole run ------------------------------------------------------------------ */

/* What was reached, as JSON, into the file that FUZZ_REPORT names. */
static void report(void)
{
    const char *path = getenv("FUZZ_REPORT");
    FILE *file = path ? fopen(path, "w") : 0;
    if (!file)
        return;
    fprintf(file, "{\"inputs\": %llu, \"restarts\": %llu, \"closings\": %llu, ",
            (unsigned long long)inputs, (unsigned long long)restarts,
            (unsigned long long)oracle_closings);
    fprintf(file, "\"latchings\": %llu, \"supplyings\": %llu, \"low\": %llu, \"handlers\": {",
            (unsigned long long)oracle_latchings, (unsigned long long)oracle_supplyings,
            (unsigned long long)oracle_low);
    for (unsigned n = 0; n < handlers_count(); n++)
        fprintf(file, "%s\"%s\": %llu", n ? ", " : "", handlers_name(n),
                (unsigned long long)handlers_entered(n));
    fputs("}}\n", file);
    fclose(file);
}

/* With leads so large that some pads of a bus may be closed together, and not all; two are low. */
#define CONFIGURED \
    "SYST:CONF:LEAD 2000;SUPP 4800;LIM 2000;BANK 0,6800,33000,150000,1500;LOW:LIM ON;PADS (@20,21);" \
    ":SYST:CONF:SAVE;:*CLS\n"

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count;
    (void)arguments;
    machine_blank();
    machine_start(CAUSE_POWER);
    machine_settle(1000000);
    for (const char *c = CONFIGURED; *c; c++)
        machine_send(*c, FLAW_NONE);
    machine_settle(1000000);
    machine_keep();
    oracle_restart();
    oracle_look();
    atexit(report);
    return 0;
}
