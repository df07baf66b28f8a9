#define _GNU_SOURCE
#include "link.h"

#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define CLIENTS LINK_CLIENTS
#define BACKLOG (4 << 20) /* a client that is further behind than this is dropped */

struct client {
    int fd; /* 0: no client here */
    char *out;
    size_t out_length, out_size;
    char in[256];
    size_t in_length;
    bool new;
};

static int listener = -1;
static char socket_path[108];
static struct client clients[CLIENTS];
static unsigned long lines;

void link_open(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path) {
        fprintf(stderr, "emulator: socket path too long: %s\n", path);
        exit(2);
    }
    strcpy(address.sun_path, path);
    strcpy(socket_path, path);
    unlink(path);
    listener = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (listener < 0 || bind(listener, (struct sockaddr *)&address, sizeof address) ||
        listen(listener, CLIENTS)) {
        fprintf(stderr, "emulator: socket %s: %s\n", path, strerror(errno));
        exit(2);
    }
}

static void drop(struct client *client)
{
    close(client->fd);
    free(client->out);
    memset(client, 0, sizeof *client);
}

static void accept_clients(void)
{
    for (int n = 0; n < CLIENTS; n++) {
        if (clients[n].fd)
            continue;
        int fd = accept4(listener, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
        if (fd < 0)
            return;
        clients[n].fd = fd;
        clients[n].new = true;
    }
}

void link_wait_for_client(void)
{
    while (!clients[0].fd) {
        struct pollfd waiting = {.fd = listener, .events = POLLIN};
        if (poll(&waiting, 1, -1) < 0)
            return; /* a signal: the main loop looks at it */
        accept_clients();
    }
}

static void flush(struct client *client)
{
    while (client->out_length) {
        ssize_t count = send(client->fd, client->out, client->out_length, MSG_NOSIGNAL);
        if (count < 0) {
            if (errno != EAGAIN && errno != EINTR)
                drop(client);
            return;
        }
        client->out_length -= count;
        memmove(client->out, client->out + count, client->out_length);
    }
}

static void append(struct client *client, const char *text, size_t length)
{
    if (client->out_length + length > BACKLOG) {
        fprintf(stderr, "emulator: a client doesn't read its events; dropped\n");
        drop(client);
        return;
    }
    if (client->out_length + length > client->out_size) {
        client->out_size = 2 * (client->out_length + length);
        client->out = realloc(client->out, client->out_size);
        if (!client->out)
            abort();
    }
    memcpy(client->out + client->out_length, text, length);
    client->out_length += length;
}

void link_say(const char *format, ...)
{
    char line[256];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    lines++;
    for (int n = 0; n < CLIENTS; n++)
        if (clients[n].fd && !clients[n].new)
            append(&clients[n], line, length);
}

unsigned long link_lines(void) { return lines; }

static void receive(struct client *client, void (*command)(const char *))
{
    for (;;) {
        ssize_t count = recv(client->fd, client->in + client->in_length,
                             sizeof client->in - 1 - client->in_length, 0);
        if (count == 0 || (count < 0 && errno != EAGAIN && errno != EINTR)) {
            drop(client);
            return;
        }
        if (count < 0)
            return;
        client->in_length += count;
        char *end;
        while ((end = memchr(client->in, '\n', client->in_length))) {
            *end = 0;
            command(client->in);
            client->in_length -= end + 1 - client->in;
            memmove(client->in, end + 1, client->in_length);
        }
        if (client->in_length == sizeof client->in - 1)
            client->in_length = 0; /* no command is that long */
    }
}

int link_polls(struct pollfd *polls)
{
    int count = 0;
    if (listener < 0)
        return 0;
    polls[count++] = (struct pollfd){.fd = listener, .events = POLLIN};
    for (int n = 0; n < CLIENTS; n++)
        if (clients[n].fd)
            polls[count++] = (struct pollfd){.fd = clients[n].fd, .events = POLLIN};
    return count;
}

void link_take(void (*command)(const char *), void (*greet)(void))
{
    if (listener < 0)
        return;
    accept_clients();
    for (int n = 0; n < CLIENTS; n++) {
        if (clients[n].fd && clients[n].new) {
            clients[n].new = false;
            greet();
        }
        if (clients[n].fd)
            receive(&clients[n], command);
    }
}

void link_flush(void)
{
    for (int n = 0; n < CLIENTS; n++)
        if (clients[n].fd && clients[n].out_length)
            flush(&clients[n]);
}

void link_close(void)
{
    link_flush();
    for (int n = 0; n < CLIENTS; n++)
        if (clients[n].fd)
            drop(&clients[n]);
    if (listener >= 0) {
        close(listener);
        unlink(socket_path);
    }
}
