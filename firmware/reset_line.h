/* The toy's reset pad, pulled low for a while; nothing closes meanwhile. */
#ifndef RESET_LINE_H
#define RESET_LINE_H

#include <stdbool.h>
#include <stdint.h>

void reset_line_pull(uint16_t ms);
void reset_line_release(void);
void reset_line_run(void);
bool reset_line_is_pulled(void);

#endif
