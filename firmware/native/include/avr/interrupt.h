/* An interrupt is a function that machine.c calls when it is due. */
#ifndef NATIVE_AVR_INTERRUPT_H
#define NATIVE_AVR_INTERRUPT_H

#include <avr/io.h>

#define ISR(vector)    \
    void vector(void); \
    void vector(void)

#endif
