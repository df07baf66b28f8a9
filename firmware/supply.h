/* The toy's supply switch and the bleed across its rail; never both on. */
#ifndef SUPPLY_H
#define SUPPLY_H

#include <stdbool.h>

void supply_set(bool on);
bool supply_is_on(void);

#endif
