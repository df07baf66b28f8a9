#include "parse.h"

#include <ctype.h>
#include <string.h>

#define WORD_MAX 12 /* characters of a mnemonic, a word or a suffix */

char *parse_at;
uint8_t parse_suffix;

static bool is_first;
static bool has_begun;   /* at a parameter already, past its comma */
static bool wants_words; /* words were looked for, and none was there */

/* --- headers ---------------------------------------------------------------------- */

/* Takes the number that a node bears, where it bears one; gives the rest of the header. A node
 * without "<1|2>" may bear the one that it has anyway, 1. */
static const char *take_suffix(const char *header, uint8_t most)
{
    uint8_t number = 0;
    if (!isdigit(*header))
        return header;
    for (; isdigit(*header); header++)
        if (number < 10)
            number = number * 10 + (*header - '0');
    if (!number || number > most)
        parse_suffix = 0;
    else if (parse_suffix && most > 1) /* no node before it was out of range */
        parse_suffix = number;
    return header;
}

static bool same_letter(char wanted, char c)
{
    return wanted >= 'A' && (wanted & 0x1f) <= 26 && !((wanted ^ c) & ~0x20);
}

/* One pass that gives up at the first difference: the table is searched for every message,
 * so equal letters take a few cycles each. */
bool parse_matches(const char *header, PGM_P pattern)
{
    bool was_small = false, is_letter = false; /* of the node's last character */
    for (;;) {
        char wanted = pgm_read_byte(pattern);
        if (same_letter(wanted, *header)) {
            was_small = wanted & 0x20;
            is_letter = true;
            header++;
            pattern++;
            continue;
        }
        if (islower(wanted) && !was_small && !isalpha(*header)) { /* the short form ends here */
            while (islower(wanted))
                wanted = pgm_read_byte(++pattern);
        }
        if (is_letter && !isalpha(wanted) && wanted != '<')
            header = take_suffix(header, 1);
        is_letter = false;
        switch (wanted) {
        case '[':
            if (parse_matches(header, pattern + 1))
                return true;
            while (pgm_read_byte(pattern++) != ']')
                ;
            was_small = false;
            continue;
        case '<':
            header = take_suffix(header, pgm_read_byte(pattern + 3) - '0'); /* at "<1|2>" */
            while (pgm_read_byte(pattern++) != '>')
                ;
            was_small = false;
            continue;
        case ']':
            pattern++;
            continue;
        }
        if (wanted != *header)
            return false;
        if (!wanted)
            return true;
        was_small = false;
        header++;
        pattern++;
    }
}

/* --- parameters ------------------------------------------------------------------- */

void parse_blanks(void)
{
    while (*parse_at == ' ')
        parse_at++;
}

void parse_start(char *parameters)
{
    parse_at = parameters;
    is_first = true;
    has_begun = wants_words = false;
    parse_blanks();
}

bool parse_more(void)
{
    parse_blanks();
    return is_first ? *parse_at != 0 : *parse_at == ',';
}

int16_t parse_begin(void)
{
    if (has_begun)
        return 0;
    parse_blanks();
    char *comma = parse_at;
    if (!is_first && *parse_at == ',') {
        parse_at++;
        parse_blanks();
    }
    if (!*parse_at || *parse_at == ',') {
        parse_at = comma; /* another look must find the same */
        return -109;
    }
    is_first = false;
    has_begun = true;
    return 0;
}

int16_t parse_finish(void)
{
    parse_blanks();
    has_begun = wants_words = false;
    return *parse_at == 0 || *parse_at == ',' ? 0 : -103;
}

int16_t parse_end(void)
{
    parse_blanks();
    if (!*parse_at)
        return 0;
    return is_first || *parse_at == ',' || has_begun ? -108 : -103;
}

static bool is_word(char c) { return isalnum(c) || c == '_'; }

int16_t parse_refused(void)
{
    const char *end = parse_at + 1;
    switch (*parse_at) {
    case '"':
    case '\'':
        do /* a doubled quote is one of the string's characters */
            end = strchr(end, *parse_at);
        while (end && *++end == *parse_at && end++);
        return end ? -158 : -151;
    case '#':
        return isdigit(*end) ? -168 : *end && strchr_P(PSTR("HhQqBb"), *end) ? -128 : -102;
    case '(':
        return strchr(end, ')') ? -178 : -171;
    case '+':
    case '-':
    case '.':
        return -128;
    }
    if (isdigit(*parse_at))
        return -128;
    if (!isalpha(*parse_at))
        return -102;
    while (is_word(*end))
        end++;
    if (end - parse_at > WORD_MAX)
        return -144;
    if (*end && *end != ' ' && *end != ',')
        return -141;
    return wants_words ? -224 : -148;
}

bool parse_word(PGM_P pattern)
{
    if (parse_begin())
        return false;
    wants_words = true;
    char *end = parse_at;
    while (is_word(*end))
        end++;
    if (!isalpha(*parse_at) || isdigit(end[-1]) || (*end && *end != ' ' && *end != ','))
        return false;
    char kept = *end;
    *end = 0;
    bool matches = parse_matches(parse_at, pattern);
    *end = kept;
    if (matches) {
        parse_at = end;
        has_begun = wants_words = false;
    }
    return matches;
}

/* --- numbers ---------------------------------------------------------------------- */

#define SATURATED 1000000000L

static int16_t power_of_ten(int16_t *scale)
{
    char *mark = parse_at;
    parse_blanks();
    if (toupper(*parse_at) != 'E') {
        parse_at = mark;
        return 0;
    }
    parse_at++;
    parse_blanks();
    if (isalpha(*parse_at)) { /* a suffix that begins with E */
        parse_at = mark;
        return 0;
    }
    bool down = *parse_at == '-';
    if (*parse_at == '-' || *parse_at == '+')
        parse_at++;
    if (!isdigit(*parse_at))
        return -121;
    int16_t exponent = 0;
    for (; isdigit(*parse_at); parse_at++) {
        if (exponent > 3200)
            return -123;
        exponent = exponent * 10 + (*parse_at - '0');
    }
    if (exponent > 32000)
        return -123;
    *scale += down ? -exponent : exponent;
    return 0;
}

static int16_t suffix(enum unit unit, int16_t *scale)
{
    static const char bases[][4] PROGMEM = {"", "S", "A", "V", "OHM", "A", "S", "S"};
    parse_blanks();
    char *text = parse_at;
    if (!isalpha(*text) && *text != '/')
        return 0;
    while (*parse_at && *parse_at != ' ' && *parse_at != ',')
        parse_at++;
    if (parse_at - text > WORD_MAX)
        return -134;
    if (unit == UNIT_NONE)
        return -138;
    char kept = *parse_at, prefix = toupper(*text);
    PGM_P base = bases[unit];
    /* Of the unit without a prefix. */
    int8_t power = unit == UNIT_OHM || unit == UNIT_S ? 0 : unit == UNIT_UA || unit == UNIT_US ? 6 : 3;
    *parse_at = 0;
    if (strcasecmp_P(text, base)) {
        if (strcasecmp_P(text + 1, base))
            prefix = 0;
        if (unit == UNIT_OHM && (prefix == 'K' || prefix == 'M'))
            power = prefix == 'K' ? 3 : 6;
        else if (unit != UNIT_OHM && (prefix == 'M' || prefix == 'U'))
            power -= prefix == 'M' ? 3 : 6;
        else
            power = INT8_MAX;
    }
    *parse_at = kept;
    if (power == INT8_MAX)
        return -131;
    *scale += power;
    return 0;
}

/* #H1F, #Q17 and #B101: they have neither sign nor suffix. */
static int16_t in_other_base(int32_t *value)
{
    uint8_t base, digit;
    switch (toupper(*++parse_at)) {
    case 'H':
        base = 16;
        break;
    case 'Q':
        base = 8;
        break;
    default:
        base = 2;
    }
    int32_t number = 0;
    parse_at++;
    do {
        digit = isdigit(*parse_at) ? *parse_at - '0' : toupper(*parse_at) - 'A' + 10;
        if (!isalnum(*parse_at) || digit >= base)
            return -121;
        number = number < SATURATED / 16 ? number * base + digit : SATURATED;
        parse_at++;
    } while (*parse_at && *parse_at != ' ' && *parse_at != ',');
    *value = number;
    return 0;
}

/* Sign, fraction, exponent and suffix, rounded to the nearest whole number of the unit. */
static int16_t decimal(enum unit unit, int32_t *value)
{
    bool negative = *parse_at == '-';
    if (*parse_at == '-' || *parse_at == '+')
        parse_at++;
    int32_t mantissa = 0;
    int16_t scale = 0; /* power of ten the mantissa is still to be multiplied by */
    bool digits = false, fraction = false;
    for (; isdigit(*parse_at) || (*parse_at == '.' && !fraction); parse_at++) {
        if (*parse_at == '.') {
            fraction = true;
            continue;
        }
        digits = true;
        if (mantissa < SATURATED / 10) {
            mantissa = mantissa * 10 + (*parse_at - '0');
            scale -= fraction;
        } else if (!fraction) {
            scale++;
        }
    }
    if (!digits || (*parse_at && !isalpha(*parse_at) && !strchr_P(PSTR(" ,:/"), *parse_at)))
        return -121;
    int16_t error = power_of_ten(&scale);
    if (!error)
        error = suffix(unit, &scale);
    if (error)
        return error;
    for (; scale > 0 && mantissa; scale--)
        mantissa = mantissa < SATURATED / 10 ? mantissa * 10 : SATURATED;
    int8_t last = 0;
    for (; scale < 0 && (mantissa || last); scale++) {
        last = mantissa % 10;
        mantissa /= 10;
    }
    if (last >= 5)
        mantissa++;
    *value = negative ? -mantissa : mantissa;
    return 0;
}

static int16_t number(enum unit unit, int32_t least, int32_t most, int32_t *value)
{
    int32_t read = 0;
    int16_t error = parse_begin();
    if (error)
        return error;
    if (*parse_at == '#' && parse_refused() == -128)
        error = in_other_base(&read);
    else if (isdigit(*parse_at) || (*parse_at && strchr_P(PSTR("+-."), *parse_at)))
        error = decimal(unit, &read);
    else
        error = parse_refused();
    if (!error)
        error = parse_finish();
    if (error)
        return error;
    if (read < least || read > most)
        return -222;
    *value = read;
    return 0;
}

int16_t parse_integer(int32_t least, int32_t most, int32_t *value)
{
    return number(UNIT_NONE, least, most, value);
}

int16_t parse_quantity(enum unit unit, int32_t least, int32_t most, int32_t usual, int32_t *value)
{
    if (parse_word(PSTR("MINimum")))
        *value = least;
    else if (parse_word(PSTR("MAXimum")))
        *value = most;
    else if (parse_word(PSTR("DEFault")))
        *value = usual;
    else
        return number(unit, least, most, value);
    return parse_finish();
}

int16_t parse_boolean(bool *value)
{
    int32_t read = 0;
    int16_t error;
    if (parse_word(PSTR("ON"))) {
        read = 1;
        error = parse_finish();
    } else if (parse_word(PSTR("OFF"))) {
        error = parse_finish();
    } else {
        error = parse_integer(-SATURATED, SATURATED, &read);
    }
    if (!error)
        *value = read != 0;
    return error;
}
