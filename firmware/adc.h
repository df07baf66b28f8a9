/* Voltages at the converter's pins. */
#ifndef ADC_H
#define ADC_H

#include <stdint.h>

void adc_init(void);
uint16_t adc_rail_mv(void); /* the toy's rail, before the divider; takes about 1 ms */

#endif
