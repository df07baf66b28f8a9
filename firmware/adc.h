/* The converter, never at rest: its interrupt gives every second conversion to the supply
 * current, the others to whatever is asked, and to the rail in between. */
#ifndef ADC_H
#define ADC_H

#include <stdbool.h>
#include <stdint.h>

#define ADC_SAMPLES 8
#define ADC_FULL (1024UL * ADC_SAMPLES)

void adc_init(void);
/* The sum of ADC_SAMPLES conversions, taken within 2 ms; of a dead converter full scale. */
uint16_t adc_sum(uint8_t channel);
uint16_t adc_mv_of(uint16_t sum); /* before the 3:1 divider of rail and sense line */
uint16_t adc_mv(uint8_t channel);
uint16_t adc_supply_mv(void);     /* the 5 V, told by the reference; takes up to 2 ms */
uint16_t adc_rail_raw(void);      /* the latest single conversion of the rail, at no cost */
bool adc_works(void);             /* conversions come; takes up to 2 ms */
bool adc_has_run(void);           /* one came since the last call, which is the guard's alone */

#endif
