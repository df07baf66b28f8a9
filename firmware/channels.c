#include "channels.h"

#include <ctype.h>
#include <string.h>

#include "commands.h"
#include "configuration.h"

static int16_t small_number(uint8_t *value)
{
    parse_blanks();
    if (!isdigit(*parse_at))
        return -171;
    uint16_t number = 0;
    for (; isdigit(*parse_at); parse_at++)
        if (number < 1000)
            number = number * 10 + (*parse_at - '0');
    *value = number > 255 ? 255 : number;
    parse_blanks();
    return 0;
}

static int16_t one(bool with_bus, uint8_t *bit)
{
    uint8_t bus = 1, pad;
    if (with_bus) {
        TRY(small_number(&bus));
        if (*parse_at++ != '!')
            return -171;
    }
    TRY(small_number(&pad));
    if (bus < 1 || bus > 2 || pad < 1 || pad > configuration.pads)
        return -222;
    *bit = (bus == 1 ? BIT_BUS_1 : BIT_BUS_2) + pad - 1;
    return 0;
}

static int16_t list(bool with_bus, uint8_t *bits, uint8_t *order, uint8_t *length)
{
    uint8_t count = 0;
    TRY(parse_begin());
    if (*parse_at != '(')
        return parse_refused();
    parse_at++;
    parse_blanks();
    if (*parse_at++ != '@')
        return -171;
    do {
        uint8_t bit, last;
        TRY(one(with_bus, &bit));
        last = bit;
        if (*parse_at == ':') {
            parse_at++;
            TRY(one(with_bus, &last));
            if (last < bit || (bit < BIT_BUS_2) != (last < BIT_BUS_2))
                return -222;
        }
        for (; bit <= last; bit++) {
            bits[bit / 8] |= 1 << (bit % 8);
            if (!order)
                continue;
            if (count == CHANNELS_MAX)
                return -222;
            order[count++] = bit;
        }
    } while (*parse_at++ == ',');
    if (parse_at[-1] != ')') {
        parse_at--; /* it may be the end of the text */
        return -171;
    }
    if (order)
        *length = count;
    return parse_finish();
}

int16_t parse_channels(image_t *image, uint8_t *order, uint8_t *length)
{
    memset(image, 0, sizeof *image);
    return list(true, image->byte, order, length);
}

int16_t parse_pads(uint8_t pads[BUS_BYTES])
{
    memset(pads, 0, BUS_BYTES);
    return parse_word(PSTR("NONE")) ? 0 : list(false, pads, 0, 0);
}

static bool has(const uint8_t *pads, uint8_t n) { return pads[n / 8] >> (n % 8) & 1; }

void reply_pads(const uint8_t pads[BUS_BYTES])
{
    bool any = false;
    reply_begin();
    for (uint8_t n = 0; n < PADS_MAX; n++) {
        if (!has(pads, n))
            continue;
        if (any)
            reply_char(',');
        else
            TEXT("(@");
        any = true;
        reply_number(n + 1);
        uint8_t last = n;
        while (last + 1 < PADS_MAX && has(pads, last + 1))
            last++;
        if (last > n) {
            reply_char(':');
            reply_number(last + 1);
            n = last;
        }
    }
    if (any)
        reply_char(')');
    else
        TEXT("NONE");
}
