#include "handlers.h"

#include "commands.h"

static struct {
    const char *name;
    int16_t (*handler)(void);
    uint64_t entered;
} handlers[] = {
#define COMMAND(pattern, handler, allowed) {#handler, handler, 0},
#define QUERY(pattern, handler, allowed) {#handler, handler, 0},
#define BOTH(pattern, handler, query, allowed) {#handler, handler, 0}, {#query, query, 0},
#include "commands.def"
};

#define COUNT (sizeof handlers / sizeof handlers[0])

unsigned handlers_count(void) { return COUNT; }
const char *handlers_name(unsigned n) { return handlers[n].name; }
uint64_t handlers_entered(unsigned n) { return handlers[n].entered; }

/* The compiler calls these for each function of the files of handlers. */
void __cyg_profile_func_enter(void *function, void *caller);
void __cyg_profile_func_exit(void *function, void *caller);

void __cyg_profile_func_enter(void *function, void *caller)
{
    (void)caller;
    for (unsigned n = 0; n < COUNT; n++)
        if ((void *)handlers[n].handler == function)
            handlers[n].entered++;
}

void __cyg_profile_func_exit(void *function, void *caller)
{
    (void)function;
    (void)caller;
}
