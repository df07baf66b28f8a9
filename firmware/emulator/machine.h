/* The ATmega328P in simavr: time that goes on across resets, pins at their real levels. */
#ifndef MACHINE_H
#define MACHINE_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#define MACHINE_HZ 16000000ULL

#define MACHINE_EEPROM_SHOWN 104 /* bytes that the firmware uses */

/* A brown-out also spoils the EEPROM byte that was being written. */
enum reset_cause { RESET_PIN, RESET_BROWN_OUT };

extern avr_t *machine;

void machine_load(const char *elf_path);
uint64_t machine_cycle(void);             /* since the start, resets included */
void machine_run_until(uint64_t cycle);
void machine_reset(enum reset_cause cause);
void machine_jam(void);                   /* the program stops where it is and spins there */
void machine_blind(uint64_t cycles);      /* as with interrupts off: time passes, nothing runs */
void machine_adc(int channel, uint32_t millivolts);
void machine_adc_later(uint64_t cycles, int channel, uint32_t millivolts,
                       void (*done)(int channel, uint32_t millivolts));
void machine_stop_converter(void);
void machine_load_eeprom(const char *path);
uint8_t *machine_eeprom(void);
void machine_set_fuse(int which, uint8_t bits); /* 0 low, 1 lock, 2 extended, 3 high */
int machine_untouched(void); /* bytes between the variables and the deepest stack so far */
void machine_input(char port, int bit, bool level); /* an input pin's level */

/* Called with every change of a pin's level: what the pin drives, or what its external
 * resistor makes of it while it floats. */
void machine_on_pin(void (*changed)(char port, int bit, bool level));
void machine_on_reset(void (*restarted)(void));

#endif
