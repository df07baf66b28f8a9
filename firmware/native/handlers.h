/* How often each handler of the table of commands was entered. */
#ifndef HANDLERS_H
#define HANDLERS_H

#include <stdint.h>

unsigned handlers_count(void);
const char *handlers_name(unsigned n);
uint64_t handlers_entered(unsigned n);

#endif
