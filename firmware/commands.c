/* The one table of commands, made of commands.def. */
#include "commands.h"

/* Patterns of their own length, named by their line, then the rows that point at them. */
#define JOIN(a, b) a##b
#define NAME(a, b) JOIN(a, b)
#define ROW(pattern) static const char NAME(pattern_, __LINE__)[] PROGMEM = pattern;
#define COMMAND(pattern, handler, allowed) ROW(pattern)
#define QUERY(pattern, handler, allowed) ROW(pattern)
#define BOTH(pattern, handler, query, allowed) ROW(pattern)
#include "commands.def"
#undef ROW
#undef COMMAND
#undef QUERY
#undef BOTH

#define ROW(handler, query, allowed, query_allowed) \
    {NAME(pattern_, __LINE__), handler, query, (allowed) | (query_allowed) << QUERY_SHIFT},
#define COMMAND(pattern, handler, allowed) ROW(handler, 0, allowed, 0)
#define QUERY(pattern, handler, allowed) ROW(0, handler, 0, allowed)
#define BOTH(pattern, handler, query, allowed) ROW(handler, query, allowed, ALWAYS)
const struct command commands[] PROGMEM = {
#include "commands.def"
    {0, 0, 0, 0},
};
