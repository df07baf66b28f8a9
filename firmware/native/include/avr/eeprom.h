/* 1 KB that survives a restart; addresses are those of the chip. */
#ifndef NATIVE_AVR_EEPROM_H
#define NATIVE_AVR_EEPROM_H

#include <stddef.h>
#include <stdint.h>

void eeprom_read_block(void *into, const void *from, size_t size);
void eeprom_update_byte(uint8_t *at, uint8_t value);

#endif
