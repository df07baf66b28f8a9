/* The socket beside the serial port: events out, faults and voltages in. */
#ifndef LINK_H
#define LINK_H

#include <poll.h>

#define LINK_CLIENTS 4
#define LINK_POLLS (LINK_CLIENTS + 1)

void link_open(const char *path);
void link_wait_for_client(void);
/* Fills in what to poll() for, at most LINK_POLLS entries; gives their number. */
int link_polls(struct pollfd *polls);
/* Takes what came in and hands each whole line to `command`; `greet` is called when a
 * client has joined, to tell it how things stand. */
void link_take(void (*command)(const char *line), void (*greet)(void));
void link_flush(void);
void link_say(const char *format, ...) __attribute__((format(printf, 1, 2)));
unsigned long link_lines(void); /* said so far */
void link_close(void);

#endif
