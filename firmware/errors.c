#include "errors.h"

#include <stdbool.h>

#define QUEUE_LENGTH 10

struct error_row {
    int16_t number;
    char text[28];
};

static const struct error_row table[] PROGMEM = {
#define ERROR(number, text) {number, text},
#include "errors.def"
#undef ERROR
};

static const char no_error[] PROGMEM = "No error";

static int16_t queue[QUEUE_LENGTH];
static uint8_t first, count;
static uint8_t event_register;
uint8_t events_enable, service_enable;

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
            return table[i].text;
    return no_error;
}

void events_set(uint8_t bits) { event_register |= bits; }

uint8_t events_take(void)
{
    uint8_t events = event_register;
    event_register = 0;
    return events;
}

void errors_clear(void)
{
    first = count = 0;
    event_register = 0;
}

uint8_t status_byte(uint8_t reply_pending)
{
    uint8_t byte = 0;
    if (count)
        byte |= STB_QUEUE;
    if (reply_pending)
        byte |= STB_MAV;
    if (event_register & events_enable)
        byte |= STB_ESB;
    if (byte & service_enable)
        byte |= STB_MSS;
    return byte;
}
