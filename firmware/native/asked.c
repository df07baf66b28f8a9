#include "asked.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define LINE 256

/* --- small pieces ------------------------------------------------------------------- */

static char *trim(char *text)
{
    while (*text == ' ')
        text++;
    for (char *end = text + strlen(text); end > text && end[-1] == ' ';)
        *--end = 0;
    return text;
}

/* One node in its short or long form; capitals of `pattern` are the short one. */
static bool is_node(const char *text, size_t length, const char *pattern, size_t whole)
{
    size_t small = 0;
    while (small < whole && !islower((unsigned char)pattern[small]))
        small++;
    if (length > 1 && text[length - 1] == '1' && isalpha((unsigned char)text[length - 2]) &&
        !isdigit((unsigned char)pattern[whole - 1]))
        length--; /* the suffix that any node may bear */
    return (length == small || length == whole) && !strncasecmp(text, pattern, length);
}

static bool is_header(const char *header, const char *pattern)
{
    for (;;) {
        size_t length = strcspn(header, ":"), whole = strcspn(pattern, ":");
        if (!is_node(header, length, pattern, whole))
            return false;
        header += length;
        pattern += whole;
        if (!*header || !*pattern)
            return *header == *pattern;
        header++;
        pattern++;
    }
}

/* A decimal number, or one in another base, rounded; its two neighbours when it is within a
 * hair of half-way. */
static bool number(const char *text, long *low, long *high)
{
    char *end;
    if (*text == '#') {
        int base = toupper((unsigned char)text[1]) == 'H'   ? 16
                   : toupper((unsigned char)text[1]) == 'Q' ? 8
                   : toupper((unsigned char)text[1]) == 'B' ? 2
                                                            : 0;
        if (!base || !isxdigit((unsigned char)text[2]))
            return false;
        if (base == 16 && toupper((unsigned char)text[3]) == 'X')
            return false;
        *low = *high = strtol(text + 2, &end, base);
        return !*end;
    }
    char plain[LINE];
    size_t length = 0;
    bool exponent = false;
    for (const char *c = text; *c; c++) {
        if (*c == ' ') { /* blanks stand only around the E */
            const char *next = c + strspn(c, " ");
            if (toupper((unsigned char)*next) != 'E' && !exponent)
                return false;
            continue;
        }
        if (toupper((unsigned char)*c) == 'E')
            exponent = true;
        else if (!isdigit((unsigned char)*c) && !strchr("+-.", *c))
            return false;
        plain[length++] = *c;
    }
    plain[length] = 0;
    double value = strtod(plain, &end);
    if (end == plain || *end)
        return false;
    if (fabs(value) > 1e9)
        value = value < 0 ? -1e9 : 1e9;
    double away = value < 0 ? -0.5 : 0.5;
    *low = (long)(value + away * (1 - 1e-6));
    *high = (long)(value + away * (1 + 1e-6));
    return true;
}

/* Numbers of channels, with commas, each 1 to `most`. */
static bool channels(char *text, long most, uint8_t *bits)
{
    uint8_t read = 0;
    for (char *next; text; text = next) {
        next = strchr(text, ',');
        if (next)
            *next++ = 0;
        long low, high;
        if (!number(trim(text), &low, &high) || high < 1 || low > most)
            return false;
        for (long n = low; n <= high; n++)
            if (n >= 1 && n <= most)
                read |= 1 << (n - 1);
    }
    *bits |= read;
    return true;
}

/* --- channel lists ------------------------------------------------------------------ */

static bool whole(const char **text, long *value)
{
    *text += strspn(*text, " ");
    if (!isdigit((unsigned char)**text))
        return false;
    char *end;
    *value = strtol(*text, &end, 10);
    *text = end + strspn(end, " ");
    return true;
}

static bool pad(const char **text, long *bus, long *pad)
{
    if (!whole(text, bus) || *(*text)++ != '!' || !whole(text, pad))
        return false;
    return *bus >= 1 && *bus <= 2 && *pad >= 1 && *pad <= PADS_MAX;
}

static bool list(const char *text, image_t *image)
{
    image_t read = {0};
    if (*text++ != '(')
        return false;
    text += strspn(text, " ");
    if (*text++ != '@')
        return false;
    do {
        long bus, first, last_bus, last;
        if (!pad(&text, &bus, &first))
            return false;
        last_bus = bus;
        last = first;
        if (*text == ':') {
            text++;
            if (!pad(&text, &last_bus, &last) || last_bus != bus || last < first)
                return false;
        }
        for (long n = first - 1; n < last; n++)
            (bus == 1 ? read.bus1 : read.bus2)[n / 8] |= 1 << (n % 8);
    } while (*text++ == ',');
    if (text[-1] != ')' || text[strspn(text, " ")])
        return false;
    for (unsigned n = 0; n < PAD_BYTES; n++)
        image->byte[n] |= read.byte[n];
    return true;
}

/* --- units -------------------------------------------------------------------------- */

static void series(char *text, uint8_t *bits) { channels(text, SERIES_CHANNELS, bits); }

static void command(const char *header, char *parameters, struct asked *asked)
{
    long low, high;
    uint8_t bits = 0;
    if (is_header(header, "ROUTe:CLOSe")) {
        list(parameters, &asked->closed);
    } else if (is_header(header, "ROUTe:CLOSe:KEEP")) {
        asked->keeps |= !*parameters;
    } else if (is_header(header, "ROUTe:SERies")) {
        series(parameters, &asked->closed.series);
    } else if (is_header(header, "ROUTe:HOLD")) {
        if (channels(parameters, HOLD_CHANNELS, &bits))
            asked->closed.aux |= bits << AUX_HOLD_FIRST;
    } else if (is_header(header, "TOY:KEY:PRESs")) {
        channels(parameters, KEY_CHANNELS, &asked->closed.keys);
    } else if (is_header(header, "TOY:RESet")) {
        asked->reset_line |= *parameters != 0;
    } else if (is_header(header, "TOUCh:CONNections")) {
        list(parameters, &asked->touch);
    } else if (is_header(header, "TOUCh:SERies")) {
        series(parameters, &asked->touch.series);
    } else if (is_header(header, "TOUCh:KEYS")) {
        channels(parameters, KEY_CHANNELS, &asked->touch.keys);
    } else if (is_header(header, "TOUCh:HOLD")) {
        if (channels(parameters, HOLD_CHANNELS, &bits))
            asked->touch.aux |= bits << AUX_HOLD_FIRST;
    } else if (is_header(header, "TOUCh:INITiate") || is_header(header, "TOUCh:ARM")) {
        asked->touches |= !*parameters;
    } else if (is_header(header, "OUTPut") || is_header(header, "OUTPut:STATe")) {
        asked->supply |= !strcasecmp(parameters, "ON") ||
                         (number(parameters, &low, &high) && (low || high));
    } else if (is_header(header, "OUTPut:PROTection:CLEar") ||
               is_header(header, "SOURce:CURRent:PROTection:CLEar")) {
        asked->clears |= !*parameters;
    }
}

static void query(const char *header, const char *parameters, struct asked *asked)
{
    if (*parameters)
        return;
    if (is_header(header, "MEASure:RESistance"))
        asked->closed.aux |= AUX_SENSE_1 | AUX_CONTINUITY;
    else if (is_header(header, "MEASure:VOLTage:BUS") || is_header(header, "MEASure:VOLTage:BUS1"))
        asked->closed.aux |= AUX_SENSE_1;
    else if (is_header(header, "MEASure:VOLTage:BUS2"))
        asked->closed.aux |= AUX_SENSE_2;
}

/* A numeric suffix is a number: BUS02 is BUS2. */
static void drop_leading_zeros(char *header)
{
    char *to = header;
    for (const char *c = header; *c; c++)
        if (*c != '0' || !isdigit((unsigned char)c[1]) ||
            (to > header && isdigit((unsigned char)to[-1])))
            *to++ = *c;
    *to = 0;
}

/* False: the header is none, and the message ends here. */
static bool unit(char *text, char *path, struct asked *asked)
{
    text = trim(text);
    if (!*text)
        return true;
    size_t length = strcspn(text, " ");
    char *parameters = trim(text + length + (text[length] != 0));
    text[length] = 0;
    bool is_query = length && text[length - 1] == '?';
    if (is_query)
        text[length - 1] = 0;
    if (*text == '*')
        return true;
    char header[2 * LINE];
    strcpy(header, *text == ':' ? "" : path);
    strcat(header, *text == ':' ? text + 1 : text);
    for (const char *c = header; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != ':' && *c != '_')
            return false;
    if (strlen(header) >= LINE)
        return false;
    drop_leading_zeros(header);
    char *colon = strrchr(header, ':');
    *path = 0;
    if (colon)
        strncat(path, header, colon - header + 1);
    if (is_query)
        query(header, parameters, asked);
    else
        command(header, parameters, asked);
    return true;
}

void asked_in(const char *line, struct asked *asked)
{
    char text[LINE], path[LINE] = "";
    strncpy(text, line, LINE - 1);
    text[LINE - 1] = 0;
    char quote = 0, *from = text;
    for (char *c = text;; c++) {
        if (*c && quote) {
            if (*c == quote)
                quote = 0;
        } else if (*c == '"' || *c == '\'') {
            quote = *c;
        } else if (*c == ';' || !*c) {
            bool last = !*c;
            *c = 0;
            if (!unit(from, path, asked) || last)
                return;
            from = c + 1;
        }
    }
}
