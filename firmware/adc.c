#include "adc.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "clock.h"
#include "current.h"

#define SUM_WAIT_US 10000UL

static volatile uint8_t asked = RAIL_CHANNEL, left; /* conversions wanted of it */
static volatile uint16_t sum, rail;
static volatile bool has_run;

static uint8_t running; /* the channel under conversion; the interrupt's own */

static void start(uint8_t channel)
{
    running = channel;
    ADMUX = (1 << REFS0) | channel;
    ADCSRA |= 1 << ADSC;
}

void adc_init(void)
{
    DIDR0 = (1 << RAIL_CHANNEL) | (1 << CURRENT_CHANNEL) | (1 << BUS_CHANNEL) |
            (1 << CONTINUITY_CHANNEL);
    /* 125 kHz: a conversion takes 104 us */
    ADCSRA = (1 << ADEN) | (1 << ADIE) | (1 << ADPS2) | (1 << ADPS1) | (1 << ADPS0);
    start(RAIL_CHANNEL);
}

ISR(ADC_vect)
{
    uint16_t raw = ADC;
    uint8_t done = running;
    has_run = true;
    if (done == CURRENT_CHANNEL) {
        start(left ? asked : RAIL_CHANNEL);
        current_sample(raw);
        return;
    }
    start(CURRENT_CHANNEL);
    if (done == RAIL_CHANNEL)
        rail = raw;
    if (left && done == asked) {
        sum += raw;
        left--;
    }
}

static bool collect(uint8_t channel)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        asked = channel;
        sum = 0;
        left = ADC_SAMPLES;
    }
    uint32_t start_us = clock_us();
    while (left)
        if (clock_since(clock_us(), start_us) > SUM_WAIT_US) {
            left = 0;
            return false;
        }
    return true;
}

uint16_t adc_sum(uint8_t channel) { return collect(channel) ? sum : 1023 * ADC_SAMPLES; }

bool adc_works(void) { return collect(RAIL_CHANNEL); }

uint16_t adc_mv_of(uint16_t sum_of_samples)
{
    uint32_t scaled = sum_of_samples * (ADC_REFERENCE_MV * RAIL_DIVIDER / ADC_SAMPLES);
    return (scaled + 512) / 1024;
}

uint16_t adc_mv(uint8_t channel) { return adc_mv_of(adc_sum(channel)); }

uint16_t adc_supply_mv(void)
{
    uint16_t seen = adc_sum(REFERENCE_CHANNEL);
    return seen < ADC_FULL / 4 ? UINT16_MAX : REFERENCE_MV * ADC_FULL / seen;
}

uint16_t adc_rail_raw(void)
{
    uint16_t raw;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) raw = rail;
    return raw;
}

bool adc_has_run(void)
{
    bool had = has_run;
    has_run = false;
    return had;
}
