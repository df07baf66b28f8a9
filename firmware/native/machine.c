#include "machine.h"

#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdio.h>
#include <stdlib.h>
#include <util/atomic.h>

#include "adc.h"
#include "boot.h"
#include "clock.h"
#include "configuration.h"
#include "errors.h"
#include "guard.h"
#include "loop.h"
#include "pins.h"
#include "scpi.h"
#include "status.h"
#include "supply.h"
#include "touch.h"
#include "uart.h"

#define CLOCK_CALL_US 4 /* what reading the clock and looking at it takes */
#define TICK_US 1000
#define CONVERSION_US 104
#define WIRE 8192 /* bytes on their way */
#define REPLIES 65536
#define EEPROM_BYTES 1024
#define EEPROM_WRITE_US 3400

volatile uint8_t ADMUX, ADCSRA, DIDR0, UCSR0A, UCSR0B, UCSR0C, UDR0;
volatile uint16_t ADC, UBRR0;

void ADC_vect(void);
void USART_RX_vect(void);
void USART_UDRE_vect(void);

void (*machine_watch)(const struct machine_outputs *outputs, uint64_t now_us);

/* Everything that a snapshot holds, beside the firmware's own variables. */
static struct world {
    uint64_t now_us, tick_us, converted_us, received_us, sent_us;
    uint8_t mask;
    enum machine_cause cause;
    uint16_t boots;

    uint16_t wire_head, wire_tail;
    uint8_t wire[WIRE], flaw[WIRE];

    uint8_t eeprom[EEPROM_BYTES];

    uint8_t registers[REGISTERS_MAX], latched[REGISTERS_MAX];
    uint8_t boards;
    bool data, driving;
    bool line, level; /* of the supply switch; of the heartbeat */
    enum machine_switch fault;
    uint64_t beat_us, line_us; /* of the latest rise of either */
    uint32_t longest_gap_us;
    enum machine_read_back read_back;
    struct machine_outputs outputs;

    uint16_t current_ma, bus_mv, continuity_mv;
    int32_t rail_mv;
    uint32_t fall_us;
    uint64_t supply_changed_us;
    bool is_idle;
} world;

static char replies[REPLIES];
static size_t replied;

/* --- time and interrupts ------------------------------------------------------------ */

static uint16_t converted(uint8_t channel)
{
    uint32_t mv = 0;
    switch (channel) {
    case RAIL_CHANNEL:
        if (world.rail_mv >= 0)
            mv = world.rail_mv;
        else if (world.outputs.supply)
            mv = 4500;
        else if (world.now_us - world.supply_changed_us < world.fall_us && world.supply_changed_us)
            mv = 1500; /* it takes a while to fall */
        mv /= RAIL_DIVIDER;
        break;
    case REFERENCE_CHANNEL:
        mv = REFERENCE_MV;
        break;
    case CURRENT_CHANNEL:
        mv = machine_current_now_ma() * 11;
        break;
    case BUS_CHANNEL:
        mv = world.bus_mv;
        break;
    case CONTINUITY_CHANNEL:
        mv = world.continuity_mv;
        break;
    }
    uint32_t raw = mv * 1024 / ADC_REFERENCE_MV;
    return raw > 1023 ? 1023 : raw;
}

/* The switch as its line and the charge pump have it. */
static void look_at_supply(void)
{
    bool line = world.line || world.fault == SWITCH_LINE;
    bool held = (world.beat_us && world.now_us - world.beat_us < HOLD_US) ||
                world.fault == SWITCH_BEATS;
    bool on = (line && held) || world.fault == SWITCH_WELDED;
    if (on == world.outputs.supply)
        return;
    world.supply_changed_us = world.now_us;
    world.outputs.supply = on;
    if (machine_watch)
        machine_watch(&world.outputs, world.now_us);
}

static void receive(void)
{
    UCSR0A = world.flaw[world.wire_tail] == FLAW_OVERRUN ? 1 << DOR0
             : world.flaw[world.wire_tail] == FLAW_FRAME ? 1 << FE0
                                                         : 0;
    UDR0 = world.wire[world.wire_tail];
    world.wire_tail = (world.wire_tail + 1) % WIRE;
    USART_RX_vect();
}

static void transmit(void)
{
    USART_UDRE_vect();
    if (!(UCSR0B & 1 << UDRIE0))
        return;
    if (replied < REPLIES)
        replies[replied++] = UDR0;
}

static bool is_wire_due(void)
{
    return world.wire_tail != world.wire_head && (UCSR0B & 1 << RXCIE0) &&
           world.now_us >= world.received_us + BYTE_US;
}

/* Runs every interrupt that is due, as if each took no time. */
static void interrupts(void)
{
    if (world.mask)
        return;
    world.mask++;
    while (world.tick_us + TICK_US <= world.now_us) {
        world.tick_us += TICK_US;
        supply_beat();
    }
    look_at_supply();
    while (world.converted_us + CONVERSION_US <= world.now_us) {
        world.converted_us += CONVERSION_US;
        if (!(ADCSRA & 1 << ADSC))
            continue;
        ADC = converted(ADMUX & 0x0f);
        ADC_vect();
    }
    while (is_wire_due()) {
        world.received_us += BYTE_US;
        receive();
    }
    while ((UCSR0B & 1 << UDRIE0) && world.now_us >= world.sent_us + BYTE_US) {
        world.sent_us += BYTE_US;
        transmit();
    }
    if (!(UCSR0B & 1 << UDRIE0))
        world.sent_us = world.now_us;
    world.mask--;
}

static void pass(uint32_t us)
{
    world.now_us += us;
    interrupts();
}

void machine_mask(void) { world.mask++; }

void machine_unmask(void)
{
    world.mask--;
    interrupts();
}

uint64_t machine_now_us(void) { return world.now_us; }

uint32_t clock_us(void)
{
    if (!world.mask)
        pass(CLOCK_CALL_US);
    return CLOCK_START_US + (uint32_t)world.now_us;
}

uint8_t clock_tick(void) { return world.tick_us / TICK_US; }

void clock_init(void) {}

void clock_wait_us(uint16_t us)
{
    for (; us > 100; us -= 100)
        pass(100);
    pass(us);
}

/* --- pins --------------------------------------------------------------------------- */

static uint8_t chain_registers(void)
{
#ifdef DRIVER_reed
    return HEADER_REGISTERS + 2 * world.boards;
#else
    return HEADER_REGISTERS + 2;
#endif
}

static void decode(image_t *closed)
{
    const uint8_t *byte = world.latched;
    closed->series = byte[0];
    closed->keys = byte[1];
    closed->aux = byte[2];
#ifdef DRIVER_reed
    for (uint8_t board = 0; board < world.boards; board++) {
        closed->bus1[board] = byte[HEADER_REGISTERS + 2 * board];
        closed->bus2[board] = byte[HEADER_REGISTERS + 2 * board + 1];
    }
#endif
}

static void changed(void)
{
    struct machine_outputs was = world.outputs;
    memset(&world.outputs.closed, 0, sizeof world.outputs.closed);
    if (world.driving)
        decode(&world.outputs.closed);
    if (machine_watch && memcmp(&was, &world.outputs, sizeof was))
        machine_watch(&world.outputs, world.now_us);
}

#define SWITCH(field, on)                        \
    do {                                         \
        if (world.outputs.field != (on)) {       \
            struct machine_outputs *o = &world.outputs; \
            o->field = (on);                     \
            if (machine_watch)                   \
                machine_watch(o, world.now_us);  \
        }                                        \
    } while (0)

void pin_supply(bool on)
{
    if (on && !world.line)
        world.line_us = world.now_us;
    world.line = on;
    look_at_supply();
    pass(1);
}

void pin_marker(bool on) { SWITCH(marker, on); }
void pin_bleed(bool on) { SWITCH(bleed, on); }
void pin_reset_line(bool pull) { SWITCH(reset_line, pull); }

/* The charge pump passes rises alone. */
void pin_heartbeat_toggle(void)
{
    world.level = !world.level;
    if (!world.level)
        return;
    if (world.line && world.beat_us >= world.line_us &&
        world.now_us - world.beat_us > world.longest_gap_us)
        world.longest_gap_us = world.now_us - world.beat_us;
    world.beat_us = world.now_us;
    look_at_supply();
}

void pin_drivers_off(void)
{
    world.driving = false;
    changed();
    pass(1);
}

void pin_drivers_on(void)
{
    world.driving = true;
    changed();
    pass(1);
}

void pin_chain_data(bool high) { world.data = high; }

/* The registers of a chain hold bit 7 of the last one at its far end. */
void pin_chain_clock(void)
{
    uint8_t carry = world.data;
    for (uint8_t n = 0; n < chain_registers(); n++) {
        uint8_t out = world.registers[n] >> 7;
        world.registers[n] = world.registers[n] << 1 | carry;
        carry = out;
    }
    pass(1);
}

bool pin_chain_read(void)
{
    if (world.read_back != READ_BACK_OK)
        return world.read_back == READ_BACK_HIGH;
    return world.registers[chain_registers() - 1] >> 7;
}

void pin_chain_latch(void)
{
    memcpy(world.latched, world.registers, sizeof world.latched);
    changed();
    pass(1);
}

void pin_strobe(void) { pass(1); }

/* --- boot and EEPROM ---------------------------------------------------------------- */

void boot_init(void)
{
    world.boots++;
    events_set(ESR_PON);
    errors_push(world.cause == CAUSE_WATCHDOG ? 103 : world.cause == CAUSE_BROWN_OUT ? 104 : -500);
}

uint16_t boot_count(void) { return world.boots; }

void boot_store(void) {}

uint8_t boot_fuse(uint8_t which) { return which; }

void boot_feed_watchdog(void) {}

void eeprom_read_block(void *into, const void *from, size_t size)
{
    memcpy(into, world.eeprom + (uintptr_t)from, size);
}

void eeprom_update_byte(uint8_t *at, uint8_t value)
{
    uint8_t *byte = &world.eeprom[(uintptr_t)at];
    if (*byte == value)
        return;
    *byte = value;
    pass(EEPROM_WRITE_US);
}

char *ultoa(unsigned long number, char *digits, int base)
{
    (void)base;
    sprintf(digits, "%lu", number);
    return digits;
}

/* --- the machine as a whole --------------------------------------------------------- */

/* The firmware's own variables: the Makefile gathers them in two sections. */
extern char __start_firmware_data[], __stop_firmware_data[];
extern char __start_firmware_bss[], __stop_firmware_bss[];

struct snapshot {
    char *bytes;
    struct world world;
    volatile uint8_t registers[7];
};

static struct snapshot fresh, kept;

/* Redzones lie between the variables; they are copied with them, unlooked at. */
__attribute__((no_sanitize("address"))) static char *copy(char *at, char *start, char *stop,
                                                          bool save)
{
    size_t size = stop - start;
    char *from = save ? start : at, *to = save ? at : start;
    for (size_t n = 0; n + 8 <= size; n += 8)
        *(uint64_t *)(to + n) = *(uint64_t *)(from + n);
    for (size_t n = size & ~7UL; n < size; n++)
        to[n] = from[n];
    return at + size;
}

static void variables(char *at, bool save)
{
    at = copy(at, __start_firmware_data, __stop_firmware_data, save);
    copy(at, __start_firmware_bss, __stop_firmware_bss, save);
}

static void save(struct snapshot *into)
{
    if (!into->bytes)
        into->bytes = malloc((__stop_firmware_data - __start_firmware_data) +
                             (__stop_firmware_bss - __start_firmware_bss));
    variables(into->bytes, true);
}

static volatile uint8_t *const special[] = {&ADMUX,  &ADCSRA, &DIDR0, &UCSR0A,
                                            &UCSR0B, &UCSR0C, &UDR0};

/* Before anything of the firmware has run its variables are as the C run-time leaves them. */
static void power_on(void)
{
    if (fresh.bytes)
        variables(fresh.bytes, false);
    else
        save(&fresh);
    for (uint8_t n = 0; n < 7; n++)
        *special[n] = 0;
}

void machine_blank(void)
{
    memset(&world, 0, sizeof world);
    memset(world.eeprom, 0xff, sizeof world.eeprom);
    memset(world.registers, 0xff, sizeof world.registers);
    memset(world.latched, 0xff, sizeof world.latched);
    world.boards = 3;
    world.rail_mv = -1;
    world.fall_us = 20000;
    world.current_ma = 20;
    replied = 0;
}

void machine_start(enum machine_cause cause)
{
    power_on();
    world.cause = cause;
    world.mask = 1;
    world.is_idle = false;
    world.outputs.bleed = true;
    world.outputs.marker = world.outputs.reset_line = false;
    world.line = world.level = world.driving = false;
    look_at_supply();
    changed();
    clock_init();
    uart_init();
    adc_init();
    world.tick_us = world.now_us - world.now_us % TICK_US;
    world.converted_us = world.received_us = world.sent_us = world.now_us;
    world.mask = 0;
    loop_start();
}

void machine_keep(void)
{
    save(&kept);
    kept.world = world;
    for (uint8_t n = 0; n < 7; n++)
        kept.registers[n] = *special[n];
}

void machine_return(void)
{
    variables(kept.bytes, false);
    world = kept.world;
    for (uint8_t n = 0; n < 7; n++)
        *special[n] = kept.registers[n];
    replied = 0;
}

void machine_send(uint8_t byte, enum machine_flaw flaw)
{
    uint16_t next = (world.wire_head + 1) % WIRE;
    if (next == world.wire_tail)
        return;
    if (world.wire_head == world.wire_tail && world.received_us < world.now_us)
        world.received_us = world.now_us;
    world.wire[world.wire_head] = byte;
    world.flaw[world.wire_head] = flaw;
    world.wire_head = next;
}

size_t machine_wire_left(void) { return (uint16_t)(world.wire_head - world.wire_tail + WIRE) % WIRE; }

void machine_hush(void) { world.wire_tail = world.wire_head; }

static uint64_t earlier(uint64_t a, uint64_t b) { return a < b ? a : b; }

/* One turn of the main loop, and the sleep after it: until a byte, a tick or `end_us`. */
static void turn(uint64_t end_us)
{
    uint64_t began_us = world.now_us;
    bool again = loop_turn();
    world.is_idle = !again && !uart_has_input() && world.wire_head == world.wire_tail &&
                    !touch_is_busy() && !world.outputs.reset_line && !(UCSR0B & 1 << UDRIE0);
    if (again) {
        if (world.now_us == began_us)
            pass(10);
        return;
    }
    uint8_t tick = clock_tick();
    while (!uart_has_input() && clock_tick() == tick && world.now_us < end_us) {
        uint64_t next_us = earlier(world.tick_us + TICK_US, end_us);
        if (world.wire_head != world.wire_tail)
            next_us = earlier(next_us, world.received_us + BYTE_US);
        if (UCSR0B & 1 << UDRIE0)
            next_us = earlier(next_us, world.sent_us + BYTE_US);
        pass(next_us > world.now_us ? next_us - world.now_us : 1);
    }
}

void machine_run(uint32_t us)
{
    uint64_t end_us = world.now_us + us;
    do
        turn(end_us);
    while (world.now_us < end_us);
}

void machine_skip(uint32_t us)
{
    world.now_us += us;
    world.tick_us += us;
    world.converted_us += us;
    world.received_us += us;
    world.sent_us += us;
}

bool machine_settle(uint32_t most_us)
{
    uint64_t end_us = world.now_us + most_us;
    do
        turn(end_us);
    while (!world.is_idle && world.now_us < end_us);
    return world.is_idle;
}

size_t machine_take(char *into, size_t most)
{
    size_t length = replied < most ? replied : most;
    memcpy(into, replies, length);
    memmove(replies, replies + length, replied - length);
    replied -= length;
    return length;
}

void machine_current_ma(uint16_t ma) { world.current_ma = ma; }

/* What the toy draws, and only while its supply is on. */
uint32_t machine_current_now_ma(void) { return world.outputs.supply ? world.current_ma : 0; }

void machine_rail_mv(int32_t mv) { world.rail_mv = mv; }

void machine_fall_us(uint32_t us) { world.fall_us = us; }

void machine_switch(enum machine_switch fault)
{
    world.fault = fault;
    look_at_supply();
}

uint32_t machine_longest_gap_us(void)
{
    uint32_t longest_us = world.longest_gap_us;
    world.longest_gap_us = 0;
    return longest_us;
}

void machine_sense_mv(uint16_t bus_mv, uint16_t continuity_mv)
{
    world.bus_mv = bus_mv;
    world.continuity_mv = continuity_mv;
}

void machine_read_back(enum machine_read_back fault) { world.read_back = fault; }

void machine_boards(uint8_t boards) { world.boards = boards; }

void machine_spoil_eeprom(uint16_t place, uint8_t bits) { world.eeprom[place % EEPROM_BYTES] ^= bits; }

const struct machine_outputs *machine_outputs(void) { return &world.outputs; }

bool machine_is_idle(void) { return world.is_idle; }
bool machine_is_latched(void) { return guard_is_latched(); }
bool machine_is_falling(void) { return !supply_rail_is_down(); }
bool machine_is_touching(void) { return touch_is_busy(); }
const void *machine_configuration(void) { return &configuration; }
