/* The toy's supply current and its limits, watched by the converter's interrupt.
 *
 * Two samples in a row over the peak limit, or a mean over the average limit, cut drivers and
 * supply inside the interrupt; while both wait after switching on, 20 ms of full scale do.
 * Nothing can be switched on again until the guard, which takes the cut over into its latch,
 * clears it. A touch may have a limit of its own, over which the drivers alone go off. */
#ifndef CURRENT_H
#define CURRENT_H

#include <stdbool.h>
#include <stdint.h>

/* Just before the supply goes on: limits from the configuration, blanking from now. */
void current_arm(void);
void current_disarm(void); /* the supply is off */

bool current_is_limited(void); /* the supply is on, and its limits count by now */
int16_t current_cut(void); /* 0, 106 or 107 */
void current_clear(void);  /* for the guard alone, while the supply is off */

void current_watch(uint16_t above_ma); /* what a touch may add to the mean of just before */
void current_unwatch(void);
bool current_has_spilt(void); /* it added more: the drivers are off until unwatched */

void current_sample(uint16_t raw); /* for the interrupt */

uint32_t current_mean_ua(void);
uint32_t current_take_peak_ua(void); /* the largest since the last call */

#endif
