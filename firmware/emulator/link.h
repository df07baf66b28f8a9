/* The socket beside the serial port: events out, faults and voltages in. */
#ifndef LINK_H
#define LINK_H

#include <stdbool.h>
#include <stddef.h>

void link_open(const char *path);
void link_wait_for_client(void);
/* Moves bytes both ways and hands each whole line to `command`; `greet` is called when a
 * client has joined, to tell it how things stand. */
void link_poll(void (*command)(const char *line), void (*greet)(void));
void link_say(const char *format, ...) __attribute__((format(printf, 1, 2)));
void link_close(void);

#endif
