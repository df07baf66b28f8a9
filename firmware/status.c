#include "status.h"

#include "errors.h"

#define RISING 0x7fff /* bit 15 is never used, so that no client meets a negative number */

struct status status[2] = {{.positive = RISING}, {.positive = RISING}};
uint8_t events_enable, service_enable;

static uint8_t event_register;

void status_condition(enum status_register which, uint8_t bit, bool on)
{
    struct status *s = &status[which];
    uint16_t mask = 1 << bit;
    bool was_on = s->condition & mask;
    if (on == was_on)
        return;
    s->condition ^= mask;
    s->event |= mask & (on ? s->positive : s->negative);
}

void status_preset(void)
{
    for (uint8_t n = 0; n < 2; n++) {
        status[n].enable = status[n].negative = 0;
        status[n].positive = RISING;
    }
}

void status_clear(void)
{
    event_register = 0;
    status[STATUS_OPERATION].event = status[STATUS_QUESTIONABLE].event = 0;
}

uint16_t status_take(enum status_register which)
{
    uint16_t events = status[which].event;
    status[which].event = 0;
    return events;
}

void events_set(uint8_t bits) { event_register |= bits; }

uint8_t events_take(void)
{
    uint8_t events = event_register;
    event_register = 0;
    return events;
}

static bool is_summoned(enum status_register which)
{
    return status[which].event & status[which].enable;
}

uint8_t status_byte(bool reply_pending)
{
    uint8_t byte = 0;
    if (errors_count())
        byte |= STB_QUEUE;
    if (is_summoned(STATUS_QUESTIONABLE))
        byte |= STB_QUESTIONABLE;
    if (reply_pending)
        byte |= STB_MAV;
    if (event_register & events_enable)
        byte |= STB_ESB;
    if (is_summoned(STATUS_OPERATION))
        byte |= STB_OPERATION;
    if (byte & service_enable)
        byte |= STB_MSS;
    return byte;
}
