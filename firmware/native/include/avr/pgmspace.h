/* Flash is memory like any other here. */
#ifndef NATIVE_AVR_PGMSPACE_H
#define NATIVE_AVR_PGMSPACE_H

#include <stdint.h>
#include <string.h>
#include <strings.h>

#define PROGMEM
#define PGM_P const char *
#define PSTR(text) (text)
#define pgm_read_byte(address) (*(const uint8_t *)(address))
#define pgm_read_word(address) (*(address))
#define pgm_read_ptr(address) (*(address))
#define memcpy_P memcpy
#define strcasecmp_P strcasecmp
#define strchr_P strchr

/* Of avr-libc's stdlib.h; only base 10 is used. */
char *ultoa(unsigned long number, char *digits, int base);

#endif
