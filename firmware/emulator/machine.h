/* The ATmega328P in simavr: time that goes on across resets, pins at their real levels. */
#ifndef MACHINE_H
#define MACHINE_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#define MACHINE_HZ 16000000ULL

extern avr_t *machine;

void machine_load(const char *elf_path);
uint64_t machine_cycle(void);             /* since the start, resets included */
void machine_run_until(uint64_t cycle);
void machine_reset(void);                 /* the reset pin */
void machine_jam(void);                   /* the program stops where it is and spins there */
void machine_blind(uint64_t cycles);      /* as with interrupts off: time passes, nothing runs */
void machine_adc(int channel, uint32_t millivolts);
void machine_input(char port, int bit, bool level); /* an input pin's level */

/* Called with every change of a pin's level: what the pin drives, or what its external
 * resistor makes of it while it floats. */
void machine_on_pin(void (*changed)(char port, int bit, bool level));
void machine_on_reset(void (*restarted)(void));

#endif
