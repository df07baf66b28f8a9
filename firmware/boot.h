/* Why and how often the controller started. */
#ifndef BOOT_H
#define BOOT_H

#include <stdint.h>

#define BOOT_FUSES 4 /* low, high, extended, lock bits */

void boot_init(void); /* counts the start, reports its cause in the error queue */
uint16_t boot_count(void);
void boot_store(void); /* keeps the count in EEPROM; takes up to 14 ms once after a start */
uint8_t boot_fuse(uint8_t which);
void boot_feed_watchdog(void); /* in a wait longer than a turn of the main loop */

#endif
