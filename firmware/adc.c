#include "adc.h"

#include <avr/io.h>

#include "board.h"

#define SAMPLES 8

void adc_init(void)
{
    DIDR0 = 1 << RAIL_CHANNEL;
    ADCSRA = (1 << ADEN) | (1 << ADPS2) | (1 << ADPS1) | (1 << ADPS0); /* 125 kHz */
}

static uint16_t sample(uint8_t channel)
{
    ADMUX = (1 << REFS0) | channel;
    ADCSRA |= 1 << ADSC;
    uint16_t turns = 2000; /* a conversion is 1,664 cycles; never wait for a dead one */
    while ((ADCSRA & (1 << ADSC)) && --turns)
        ;
    return ADC;
}

uint16_t adc_rail_mv(void)
{
    uint16_t sum = 0;
    for (uint8_t n = 0; n < SAMPLES; n++)
        sum += sample(RAIL_CHANNEL);
    uint32_t scaled = (uint32_t)sum * (ADC_REFERENCE_MV * RAIL_DIVIDER / SAMPLES);
    return (scaled + 512) / 1024;
}
