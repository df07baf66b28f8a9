/* Why and how often the controller started. */
#ifndef BOOT_H
#define BOOT_H

#include <stdint.h>

void boot_init(void); /* counts the start in EEPROM, reports its cause in the error queue */
uint16_t boot_count(void);
void boot_feed_watchdog(void); /* in a wait longer than a turn of the main loop */

#endif
