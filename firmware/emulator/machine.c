#include "machine.h"

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define JAM_OPCODE 0xcfff /* rjmp to itself */
#define MV_FULL 5000

#define MCUSR 0x54
#define BORF 0x04
#define EECR 0x3f
#define EEARL 0x41
#define EEPE 0x02
#define EEMPE 0x04
#define EEPROM_WRITE_CYCLES (MACHINE_HZ / 10000 * 34) /* 3.4 ms */
#define ADCSRA 0x7a
#define ADEN 0x80
#define PAINT 0xc5
#define RAM_START 0x100
#define UNLISTED 16 /* bytes of variables beyond those that the ELF file counts, at most */

struct port {
    char name;
    avr_io_addr_t pin, ddr, port;
    uint8_t pulled_up; /* by external resistors, seen while the pin floats */
    uint8_t level;
};

/* The supply's gate is pulled down, the drivers' enable-not is pulled up. */
static struct port ports[] = {
    {'B', 0x23, 0x24, 0x25, 0x00, 0},
    {'C', 0x26, 0x27, 0x28, 0x00, 0},
    {'D', 0x29, 0x2a, 0x2b, 0x80, 0x80},
};
#define PORTS (sizeof ports / sizeof ports[0])

avr_t *machine;
static uint64_t cycles_before_reset;
static bool was_reset;
static void (*reset_core)(avr_t *);
static void (*on_pin)(char, int, bool);
static void (*on_reset)(void);
static struct {
    bool wanted, done;
    avr_flashaddr_t at;
    uint16_t opcode;
} jam;

static uint64_t blind_cycles;

static avr_io_write_t write_register[PORTS * 3];
static void *write_parameter[PORTS * 3];

static void update(struct port *port)
{
    uint8_t ddr = machine->data[port->ddr];
    uint8_t level = (machine->data[port->port] & ddr) | (port->pulled_up & ~ddr);
    uint8_t changes = level ^ port->level;
    port->level = level;
    for (int bit = 0; bit < 8; bit++)
        if (changes >> bit & 1 && on_pin)
            on_pin(port->name, bit, level >> bit & 1);
}

/* Stands before simavr's own write of DDR, PORT and PIN. (Its IRQs tell only changes of a
 * register since the last write, and a reset is none.) */
static void written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *parameter)
{
    int n = (int)(intptr_t)parameter;
    write_register[n](avr, address, value, write_parameter[n]);
    update(&ports[n / 3]);
}

static void hook_ports(void)
{
    for (unsigned n = 0; n < PORTS * 3; n++) {
        struct port *port = &ports[n / 3];
        avr_io_addr_t address = n % 3 == 0 ? port->pin : n % 3 == 1 ? port->ddr : port->port;
        __auto_type slot = &machine->io[AVR_DATA_TO_IO(address)].w;
        write_register[n] = slot->c;
        write_parameter[n] = slot->param;
        slot->c = written;
        slot->param = (void *)(intptr_t)n;
    }
}

/* Called by simavr inside avr_reset(), also when its watchdog fires. */
static void restarted(avr_t *avr)
{
    if (reset_core)
        reset_core(avr);
    was_reset = true;
    if (jam.done) {
        memcpy(avr->flash + jam.at, &jam.opcode, 2);
        jam.done = false;
    }
}

static void log_to_stderr(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr; /* the main loop paces; simavr only skips the cycles */
    (void)cycles;
}

/* simavr polls low pins with a level-triggered interrupt, enabled or not, every cycle. */
static void stop_polling(void)
{
    for (int n = 0; n < 2; n++)
        avr_extint_set_strict_lvl_trig(machine, n, 0);
}

/* --- EEPROM: simavr writes it in no time ----------------------------------------------- */

static avr_io_write_t write_eecr;
static void *write_eecr_parameter;
static uint64_t eeprom_free_at; /* cycle until which a byte is being written */
static uint16_t eeprom_address; /* of that byte */

static uint8_t eecr_read(avr_t *avr, avr_io_addr_t address, void *parameter)
{
    (void)parameter;
    uint8_t busy = machine_cycle() < eeprom_free_at ? EEPE : 0;
    return (avr->data[address] & ~EEPE) | busy;
}

static void eecr_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *parameter)
{
    (void)parameter;
    bool starts = value & EEPE && avr->data[address] & EEMPE;
    if (starts) {
        eeprom_free_at = machine_cycle() + EEPROM_WRITE_CYCLES;
        eeprom_address = avr->data[EEARL] | avr->data[EEARL + 1] << 8;
    }
    write_eecr(avr, address, value, write_eecr_parameter);
}

static void hook_eeprom(void)
{
    __auto_type io = &machine->io[AVR_DATA_TO_IO(EECR)];
    write_eecr = io->w.c;
    write_eecr_parameter = io->w.param;
    io->w.c = eecr_written;
    io->r.c = eecr_read;
}

uint8_t *machine_eeprom(void)
{
    avr_eeprom_desc_t whole = {.ee = NULL, .offset = 0, .size = 0};
    avr_ioctl(machine, AVR_IOCTL_EEPROM_GET, &whole);
    return whole.ee;
}

void machine_load_eeprom(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (!file || fread(machine_eeprom(), 1, 1024, file) == 0) {
        fprintf(stderr, "emulator: can't read EEPROM contents %s\n", path);
        exit(2);
    }
    fclose(file);
}

/* --- fuses: simavr has none ------------------------------------------------------------- */

#define SPMCSR 0x57
#define READ_FUSES 0x09 /* BLBSET and SPMEN: the next load from flash within 3 cycles */

static avr_io_write_t write_spmcsr;
static void *write_spmcsr_parameter;
/* At the addresses from which they are read: low, lock, extended, high. */
static uint8_t fuses[4] = {0xf7, 0xff, 0xfc, 0xd1}, covered[4];

static avr_cycle_count_t uncover(avr_t *avr, avr_cycle_count_t when, void *parameter)
{
    (void)when;
    (void)parameter;
    memcpy(avr->flash, covered, sizeof covered);
    return 0;
}

static void spmcsr_written(avr_t *avr, avr_io_addr_t address, uint8_t value, void *parameter)
{
    (void)parameter;
    if (write_spmcsr)
        write_spmcsr(avr, address, value, write_spmcsr_parameter);
    if (value != READ_FUSES)
        return;
    memcpy(covered, avr->flash, sizeof covered);
    memcpy(avr->flash, fuses, sizeof fuses);
    avr_cycle_timer_register(avr, 4, uncover, NULL);
}

static void hook_fuses(void)
{
    __auto_type slot = &machine->io[AVR_DATA_TO_IO(SPMCSR)].w;
    write_spmcsr = slot->c;
    write_spmcsr_parameter = slot->param;
    slot->c = spmcsr_written;
}

void machine_set_fuse(int which, uint8_t bits) { fuses[which & 3] = bits; }

/* --- stack ---------------------------------------------------------------------------- */

static unsigned variables_end;

static void paint(unsigned from)
{
    variables_end = from;
    memset(machine->data + from, PAINT, machine->ramend + 1 - from);
}

int machine_untouched(void)
{
    unsigned from = variables_end, at;
    while (from < variables_end + UNLISTED && machine->data[from] != PAINT)
        from++;
    for (at = from; at <= machine->ramend && machine->data[at] == PAINT; at++)
        ;
    return at - from;
}

/* --- resets --------------------------------------------------------------------------- */

/* After avr_reset(), which may count cycles anew. */
static void settle(uint64_t cycle_before)
{
    was_reset = false;
    if (machine->cycle < cycle_before)
        cycles_before_reset += cycle_before;
    stop_polling();
    for (unsigned n = 0; n < PORTS; n++)
        update(&ports[n]);
    if (on_reset)
        on_reset();
}

void machine_load(const char *elf_path)
{
    avr_global_logger_set(log_to_stderr);
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(elf_path, &firmware)) {
        fprintf(stderr, "emulator: can't read firmware %s\n", elf_path);
        exit(2);
    }
    machine = avr_make_mcu_by_name("atmega328p");
    if (!machine) {
        fprintf(stderr, "emulator: this simavr has no atmega328p\n");
        exit(2);
    }
    avr_init(machine);
    machine->frequency = MACHINE_HZ;
    machine->vcc = machine->avcc = machine->aref = MV_FULL;
    avr_load_firmware(machine, &firmware);
    machine->frequency = MACHINE_HZ;
    machine->sleep = no_sleep;
    machine->log = LOG_ERROR;
    stop_polling();
    reset_core = machine->reset;
    machine->reset = restarted;
    hook_ports();
    hook_eeprom();
    hook_fuses();
    paint(RAM_START + firmware.datasize + firmware.bsssize);
}

uint64_t machine_cycle(void) { return cycles_before_reset + machine->cycle; }

void machine_run_until(uint64_t cycle)
{
    while (machine_cycle() < cycle) {
        if (blind_cycles) {
            uint64_t step = 1 + avr_cycle_timer_process(machine);
            if (step > blind_cycles)
                step = blind_cycles;
            machine->cycle += step;
            blind_cycles -= step;
            continue;
        }
        uint64_t before = machine->cycle;
        int state = avr_run(machine);
        if (was_reset)
            settle(before);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "emulator: the processor stopped (state %d, pc 0x%04x)\n", state,
                    machine->pc);
            exit(3);
        }
        /* Where interrupts go on, the corner that hurts. */
        if (jam.wanted && machine->state == cpu_Running && machine->sreg[S_I]) {
            jam.wanted = false;
            jam.done = true;
            jam.at = machine->pc;
            memcpy(&jam.opcode, machine->flash + jam.at, 2);
            uint16_t opcode = JAM_OPCODE;
            memcpy(machine->flash + jam.at, &opcode, 2);
        }
    }
}

void machine_reset(enum reset_cause cause)
{
    uint64_t before = machine->cycle;
    if (cause == RESET_BROWN_OUT && machine_cycle() < eeprom_free_at)
        machine_eeprom()[eeprom_address] = 0xff;
    avr_reset(machine);
    if (cause == RESET_BROWN_OUT)
        machine->data[MCUSR] = BORF;
    settle(before);
}

void machine_jam(void) { jam.wanted = true; }

void machine_blind(uint64_t cycles) { blind_cycles = cycles; }

void machine_adc(int channel, uint32_t millivolts)
{
    if (channel >= 0 && channel < 8)
        avr_raise_irq(avr_io_getirq(machine, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + channel),
                      millivolts);
}

struct later {
    int channel;
    uint32_t millivolts;
    void (*done)(int, uint32_t);
};

static avr_cycle_count_t apply_later(avr_t *avr, avr_cycle_count_t when, void *parameter)
{
    (void)avr;
    (void)when;
    struct later *later = parameter;
    machine_adc(later->channel, later->millivolts);
    later->done(later->channel, later->millivolts);
    free(later);
    return 0;
}

void machine_adc_later(uint64_t cycles, int channel, uint32_t millivolts,
                       void (*done)(int, uint32_t))
{
    struct later *later = malloc(sizeof *later);
    if (!later)
        abort();
    *later = (struct later){channel, millivolts, done};
    avr_cycle_timer_register(machine, cycles, apply_later, later);
}

void machine_stop_converter(void) { machine->data[ADCSRA] &= ~ADEN; }

void machine_input(char port, int bit, bool level)
{
    for (unsigned n = 0; n < PORTS; n++)
        if (ports[n].name == port) {
            uint8_t *pins = &machine->data[ports[n].pin];
            *pins = (*pins & ~(1 << bit)) | level << bit;
        }
}

void machine_on_pin(void (*changed)(char, int, bool)) { on_pin = changed; }

void machine_on_reset(void (*callback)(void)) { on_reset = callback; }
