#include "errors.h"

#include "status.h"

#define QUEUE_LENGTH 10

/* Texts of their own length, named by their line, then the table that points at them. */
#define JOIN(a, b) a##b
#define NAME(a, b) JOIN(a, b)
#define ERROR(number, text, action) static const char NAME(text_, __LINE__)[] PROGMEM = text;
#include "errors.def"
#undef ERROR

static const struct {
    int16_t number;
    PGM_P text;
} table[] PROGMEM = {
#define ERROR(number, text, action) {number, NAME(text_, __LINE__)},
#include "errors.def"
#undef ERROR
};

static const char no_error[] PROGMEM = "No error";

static int16_t queue[QUEUE_LENGTH];
static uint8_t first, count;

static uint8_t event_of(int16_t number)
{
    if (number > 0 || number / 100 == -3)
        return ESR_DDE;
    switch (number / 100) {
    case -1:
        return ESR_CME;
    case -2:
        return ESR_EXE;
    case -4:
        return ESR_QYE;
    default:
        return ESR_PON;
    }
}

void errors_push(int16_t number)
{
    events_set(event_of(number));
    if (count == QUEUE_LENGTH) { /* the newest gives way, the oldest tell the cause */
        queue[(uint8_t)(first + count - 1) % QUEUE_LENGTH] = -350;
        events_set(ESR_DDE);
        return;
    }
    queue[(uint8_t)(first + count) % QUEUE_LENGTH] = number;
    count++;
}

int16_t errors_pop(void)
{
    if (!count)
        return 0;
    int16_t number = queue[first];
    first = (first + 1) % QUEUE_LENGTH;
    count--;
    return number;
}

uint8_t errors_count(void) { return count; }

PGM_P errors_text(int16_t number)
{
    for (uint8_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if ((int16_t)pgm_read_word(&table[i].number) == number)
            return (PGM_P)pgm_read_word(&table[i].text);
    return no_error;
}

void errors_clear(void) { first = count = 0; }
