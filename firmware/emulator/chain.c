#include "chain.h"

#include <string.h>

#include "machine.h"

#define DATA 4
#define CLOCK 5
#define LATCH 6
#define ENABLE_NOT 7

/* Registers come up with anything in them: all ones here, so that a firmware that enabled
 * its drivers before clearing them would be seen to close everything. */
static uint8_t shifted[REGISTERS_MAX], latched[REGISTERS_MAX];
static int registers;
static int stuck_bit, stuck_level = -1;
static bool data, enable_not = true;
static enum read_back fault;
static void (*on_output)(void);

static void show_read_back(void)
{
    bool level = shifted[registers - 1] >> 7 & 1;
    if (fault != READ_BACK_OK)
        level = fault == READ_BACK_HIGH;
    machine_input('B', 0, level);
}

void chain_init(int count)
{
    registers = count;
    memset(shifted, 0xff, sizeof shifted);
    memset(latched, 0xff, sizeof latched);
    show_read_back();
}

static void shift(void)
{
    for (int n = REGISTERS_MAX - 1; n > 0; n--)
        shifted[n] = shifted[n] << 1 | shifted[n - 1] >> 7;
    shifted[0] = shifted[0] << 1 | data;
    uint8_t mask = 1 << stuck_bit % 8;
    if (stuck_level == 0)
        shifted[stuck_bit / 8] &= ~mask;
    else if (stuck_level == 1)
        shifted[stuck_bit / 8] |= mask;
    show_read_back();
}

void chain_pin(int bit, bool level)
{
    switch (bit) {
    case DATA:
        data = level;
        break;
    case CLOCK:
        if (level)
            shift();
        break;
    case LATCH:
        if (!level || !memcmp(latched, shifted, sizeof latched))
            break;
        memcpy(latched, shifted, sizeof latched);
        on_output();
        break;
    case ENABLE_NOT:
        enable_not = level;
        on_output();
        break;
    }
}

void chain_restarted(void) { show_read_back(); }

void chain_fault(enum read_back new_fault)
{
    fault = new_fault;
    show_read_back();
}

void chain_length(int count)
{
    registers = count;
    show_read_back();
}

void chain_stick(int bit, int level)
{
    stuck_bit = bit;
    stuck_level = level;
}

const uint8_t *chain_latched(void) { return latched; }

bool chain_enabled(void) { return !enable_not; }

void chain_on_output(void (*changed)(void)) { on_output = changed; }
