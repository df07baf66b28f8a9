#include "parse.h"

#include <ctype.h>
#include <string.h>

static char *at;     /* the rest of the parameters */
static bool is_first;

/* --- headers ---------------------------------------------------------------------- */

static bool ends_mnemonic(char c) { return !c || c == ':' || c == '?'; }

/* Capitals of a pattern's mnemonic are its short form, all of it the long one. One pass that
 * gives up at the first difference: the table is searched for every message. */
bool parse_matches(const char *header, PGM_P pattern)
{
    bool was_small = false;
    for (;; header++, pattern++) {
        char wanted = pgm_read_byte(pattern);
        if (ends_mnemonic(*header)) {
            if (islower(wanted) && !was_small) /* the short form ends here */
                while (islower(wanted = pgm_read_byte(pattern)))
                    pattern++;
            if (wanted != *header)
                return false;
            if (!wanted)
                return true;
            was_small = false;
            continue;
        }
        was_small = islower(wanted);
        if (toupper(wanted) != toupper(*header))
            return false;
    }
}

/* --- parameters ------------------------------------------------------------------- */

static void skip_blanks(void)
{
    while (*at == ' ')
        at++;
}

void parse_start(char *parameters)
{
    at = parameters;
    is_first = true;
    skip_blanks();
}

bool parse_more(void)
{
    skip_blanks();
    return is_first ? *at != 0 : *at == ',';
}

/* Steps over the comma before any parameter but the first. */
static int16_t next(void)
{
    skip_blanks();
    if (!*at)
        return -109;
    if (!is_first) {
        if (*at != ',')
            return -102;
        at++;
        skip_blanks();
        if (!*at || *at == ',')
            return -109;
    }
    is_first = false;
    return 0;
}

static int16_t finish_parameter(void)
{
    skip_blanks();
    return *at == 0 || *at == ',' ? 0 : -102;
}

bool parse_word(PGM_P pattern)
{
    if (!is_first || !isalpha(*at))
        return false;
    char *end = at;
    while (isalnum(*end) || *end == '_')
        end++;
    char kept = *end;
    *end = 0;
    bool matches = parse_matches(at, pattern);
    *end = kept;
    if (matches) {
        at = end;
        is_first = false;
    }
    return matches;
}

#define SATURATED 1000000000L

/* A decimal number with sign, fraction and exponent, rounded to the nearest whole one. */
int16_t parse_integer(int32_t least, int32_t most, int32_t *value)
{
    int16_t error = next();
    if (error)
        return error;
    bool negative = *at == '-';
    if (*at == '-' || *at == '+')
        at++;
    if (!isdigit(*at) && *at != '.')
        return -104;
    int32_t mantissa = 0;
    int16_t scale = 0; /* power of ten the mantissa is still to be multiplied by */
    bool digits = false, fraction = false;
    for (; isdigit(*at) || (*at == '.' && !fraction); at++) {
        if (*at == '.') {
            fraction = true;
            continue;
        }
        digits = true;
        if (mantissa < SATURATED / 10) {
            mantissa = mantissa * 10 + (*at - '0');
            scale -= fraction;
        } else if (!fraction) {
            scale++;
        }
    }
    if (!digits)
        return -104;
    if (*at == 'E' || *at == 'e') {
        char *mark = at++;
        bool down = *at == '-';
        if (*at == '-' || *at == '+')
            at++;
        if (!isdigit(*at)) {
            at = mark;
            return -138;
        }
        int16_t exponent = 0;
        for (; isdigit(*at); at++)
            if (exponent < 1000)
                exponent = exponent * 10 + (*at - '0');
        scale += down ? -exponent : exponent;
    }
    for (; scale > 0 && mantissa; scale--)
        mantissa = mantissa < SATURATED / 10 ? mantissa * 10 : SATURATED;
    int8_t last = 0;
    for (; scale < 0 && (mantissa || last); scale++) {
        last = mantissa % 10;
        mantissa /= 10;
    }
    if (last >= 5)
        mantissa++;
    skip_blanks();
    if (isalpha(*at))
        return -138;
    error = finish_parameter();
    if (error)
        return error;
    if (negative)
        mantissa = -mantissa;
    if (mantissa < least || mantissa > most)
        return -222;
    *value = mantissa;
    return 0;
}

static const char word_on[] PROGMEM = "ON";
static const char word_off[] PROGMEM = "OFF";

int16_t parse_boolean(bool *value)
{
    if (parse_word(word_on)) {
        *value = true;
        return 0;
    }
    if (parse_word(word_off)) {
        *value = false;
        return 0;
    }
    int32_t number;
    int16_t error = parse_integer(-32768, 32767, &number);
    if (!error)
        *value = number != 0;
    return error;
}

/* --- channel lists ---------------------------------------------------------------- */

static int16_t small_number(uint8_t *value)
{
    skip_blanks();
    if (!isdigit(*at))
        return -171;
    uint16_t number = 0;
    for (; isdigit(*at); at++)
        if (number < 1000)
            number = number * 10 + (*at - '0');
    *value = number > 255 ? 255 : number;
    skip_blanks();
    return 0;
}

static int16_t channel(uint8_t *bit)
{
    uint8_t bus, pad;
    int16_t error = small_number(&bus);
    if (error)
        return error;
    if (*at++ != '!')
        return -171;
    error = small_number(&pad);
    if (error)
        return error;
    if (bus < 1 || bus > 2 || pad < 1 || pad > PADS)
        return -222;
    *bit = (bus == 1 ? BIT_BUS_1 : BIT_BUS_2) + pad - 1;
    return 0;
}

/* `(@bus!pad,bus!pad:bus!pad,...)`: sets the bits in `image`; a range stays on its bus.
 * `order`, when given, gets the bits in the order of the list, at most 2 x PADS of them. */
int16_t parse_channels(image_t *image, char *order, uint8_t *length)
{
    memset(image, 0, sizeof *image);
    if (length)
        *length = 0;
    int16_t error = next();
    if (error)
        return error;
    if (*at != '(')
        return -104;
    at++;
    skip_blanks();
    if (*at++ != '@')
        return -171;
    do {
        uint8_t bit, last;
        error = channel(&bit);
        if (error)
            return error;
        last = bit;
        if (*at == ':') {
            at++;
            error = channel(&last);
            if (error)
                return error;
            if (last < bit || (bit < BIT_BUS_2) != (last < BIT_BUS_2))
                return -222;
        }
        for (; bit <= last; bit++) {
            image->byte[bit / 8] |= 1 << (bit % 8);
            if (order) {
                if (*length == 2 * PADS)
                    return -222;
                order[(*length)++] = bit;
            }
        }
    } while (*at++ == ',');
    if (at[-1] != ')') {
        at--; /* it may be the end of the text */
        return -171;
    }
    return finish_parameter();
}

int16_t parse_end(void)
{
    skip_blanks();
    return *at ? -108 : 0;
}
