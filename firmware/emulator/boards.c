#include "boards.h"

#include <string.h>

#include "chain.h"

#define HEADER 3 /* series, keys, aux */
#define BUS_BYTES (PADS / 8)
#define CHIPS 4
#define LINES 8

static enum { REED, CROSSPOINT, MULTIPLEXER } kind;
static int reed_boards;
static uint8_t image[IMAGE_BYTES];
static void (*on_change)(void);

static uint16_t switches[CHIPS][LINES]; /* of the crosspoint chips */
static bool strobe;
static uint8_t words[2] = {0xf0, 0xf0}; /* of the multiplexers, as their pins see them */

int boards_init(const char *driver, int pads)
{
    reed_boards = pads / 8;
    if (!strcmp(driver, "reed")) {
        kind = REED;
        return HEADER + 2 * reed_boards;
    }
    if (!strcmp(driver, "crosspoint"))
        kind = CROSSPOINT;
    else if (!strcmp(driver, "multiplexer"))
        kind = MULTIPLEXER;
    else
        return 0;
    return HEADER + 2;
}

static void close_pad(uint8_t *of, int bus, int pad)
{
    of[bus * BUS_BYTES + pad / 8] |= 1 << pad % 8;
}

static void show(void)
{
    uint8_t now[IMAGE_BYTES] = {0};
    const uint8_t *outputs = chain_latched();
    if (chain_enabled())
        memcpy(now + 2 * BUS_BYTES, outputs, HEADER);
    for (int n = 0; kind == REED && chain_enabled() && n < reed_boards; n++) {
        now[n] = outputs[HEADER + 2 * n];
        now[BUS_BYTES + n] = outputs[HEADER + 2 * n + 1];
    }
    for (int bus = 0; kind == MULTIPLEXER && bus < 2; bus++)
        for (int chip = 0; chip < CHIPS; chip++)
            if (!(words[bus] >> (4 + chip) & 1))
                close_pad(now, bus, 16 * chip + (words[bus] & 15));
    for (int pad = 0; kind == CROSSPOINT && pad < PADS; pad++)
        for (int bus = 0; bus < 2; bus++)
            if (switches[pad / 16][bus] >> pad % 16 & 1)
                close_pad(now, bus, pad);
    if (!memcmp(now, image, sizeof image))
        return;
    memcpy(image, now, sizeof image);
    on_change();
}

/* No two outputs of a register move at quite the same time: a word whose address and enable-not
 * change together is seen half-way too, in the order that connects a wrong pad. */
static void turn_multiplexers(void)
{
    uint8_t wanted[2] = {0xf0, 0xf0}; /* pull-ups, while the outputs float */
    if (chain_enabled())
        memcpy(wanted, chain_latched() + HEADER, 2);
    for (int bus = 0; bus < 2; bus++) {
        uint8_t enabled = (~words[bus] | ~wanted[bus]) & 0xf0;
        if ((words[bus] ^ wanted[bus]) & 0x0f && chain_enabled()) {
            words[bus] = (words[bus] & 0x0f) | (~enabled & 0xf0);
            show();
            words[bus] = (wanted[bus] & 0x0f) | (~enabled & 0xf0);
            show();
        }
        words[bus] = wanted[bus];
    }
}

/* While the strobe is high the addressed switch follows the data bit. */
static void turn_crosspoints(void)
{
    if (!chain_enabled()) { /* their reset */
        memset(switches, 0, sizeof switches);
        return;
    }
    if (!strobe)
        return;
    uint8_t address = chain_latched()[HEADER], chips = chain_latched()[HEADER + 1];
    for (int chip = 0; chip < CHIPS; chip++) {
        if (!(chips >> chip & 1))
            continue;
        uint16_t *line = &switches[chip][address >> 4 & 7];
        uint16_t mask = 1 << (address & 15);
        *line = address & 0x80 ? *line | mask : *line & ~mask;
    }
}

void boards_output(void)
{
    if (kind == MULTIPLEXER)
        turn_multiplexers();
    if (kind == CROSSPOINT)
        turn_crosspoints();
    show();
}

void boards_strobe(bool level)
{
    strobe = level;
    boards_output();
}

const uint8_t *boards_image(void) { return image; }

void boards_on_change(void (*changed)(void)) { on_change = changed; }
