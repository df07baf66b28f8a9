/* The registers of the converter and the serial port as plain variables; machine.c moves them. */
#ifndef NATIVE_AVR_IO_H
#define NATIVE_AVR_IO_H

#include <stdint.h>

extern volatile uint8_t ADMUX, ADCSRA, DIDR0, UCSR0A, UCSR0B, UCSR0C, UDR0;
extern volatile uint16_t ADC, UBRR0;

enum { REFS0 = 6 };
enum { ADPS0, ADPS1, ADPS2, ADIE, ADIF, ADATE, ADSC, ADEN };
enum { DOR0 = 3, FE0 = 4 };
enum { TXEN0 = 3, RXEN0 = 4, UDRIE0 = 5, RXCIE0 = 7 };
enum { UCSZ00 = 1, UCSZ01 = 2 };

#endif
