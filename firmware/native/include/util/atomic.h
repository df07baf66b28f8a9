/* Interrupts that are due inside an atomic block wait for its end. */
#ifndef NATIVE_UTIL_ATOMIC_H
#define NATIVE_UTIL_ATOMIC_H

#include <stdbool.h>

void machine_mask(void);
void machine_unmask(void);

static inline bool machine_atomic_begin(void)
{
    machine_mask();
    return true;
}

static inline bool machine_atomic_end(void)
{
    machine_unmask();
    return false;
}

#define ATOMIC_BLOCK(kind) \
    for (bool once = machine_atomic_begin(); once; once = machine_atomic_end())

#endif
