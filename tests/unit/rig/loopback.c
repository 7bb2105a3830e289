#include "support/test.h"

#include "unit/rig/loopback.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#define REQUEST_MAX ((size_t)4 * 1024 * 1024)

void
loopback_write(struct fsp_buf *out, const char *status, const char *headers, const void *body,
        size_t len)
{
    fsp_buf_printf(out, "HTTP/1.1 %s\r\nContent-Length: %zu\r\n%s\r\n", status, len, headers);
    fsp_buf_add(out, body, len);
}

/* Where the body begins, 0 while the headers are not whole; *len as Content-Length says. */
static size_t
split(const struct fsp_buf *request, size_t *len)
{
    const char *text = fsp_buf_peek(request);
    const char *end = strstr(text, "\r\n\r\n");
    const char *length = strstr(text, "Content-Length: ");

    *len = 0;
    if (end == NULL)
        return 0;
    if (length != NULL && length < end)
        *len = strtoul(length + 16, NULL, 10);
    return (size_t)(end - text) + 4;
}

/* One request; false when the peer is gone. */
static bool
read_request(int fd, struct fsp_buf *request, size_t *body, size_t *len)
{
    fsp_buf_reset(request);
    for (;;) {
        uint8_t *room = fsp_buf_room(request, 4096);
        ssize_t n = room == NULL ? -1 : read(fd, room, 4096);

        if (n <= 0)
            return false;
        request->len += (size_t)n;
        request->data[request->len] = 0;
        *body = split(request, len);
        if (*body != 0 && request->len >= *body + *len)
            return true;
    }
}

static void
serve(int listener, loopback_reply *reply, void *ctx)
{
    struct fsp_buf request;
    struct fsp_buf out;
    unsigned n = 0;

    fsp_buf_init(&request, REQUEST_MAX);
    fsp_buf_init(&out, REQUEST_MAX);
    for (;;) {
        int fd = accept(listener, NULL, NULL);
        size_t body = 0;
        size_t len = 0;

        if (fd < 0)
            _exit(1);
        while (read_request(fd, &request, &body, &len)) {
            fsp_buf_reset(&out);
            request.data[body - 1] = 0;
            reply(ctx, n++, fsp_buf_peek(&request), request.data + body, len, &out);
            if (out.len == 0 || write(fd, out.data, out.len) != (ssize_t)out.len)
                break;
        }
        (void)close(fd);
    }
}

void
loopback_start(struct loopback *loopback, loopback_reply *reply, void *ctx)
{
    struct sockaddr_in address = {
            .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t len = sizeof(address);
    int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

    assert_true(listener >= 0);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof(address)), 0);
    assert_int_equal(listen(listener, 8), 0);
    assert_int_equal(getsockname(listener, (struct sockaddr *)&address, &len), 0);
    (void)snprintf(loopback->url, sizeof(loopback->url), "http://127.0.0.1:%u",
            (unsigned)ntohs(address.sin_port));
    loopback->pid = fork();
    assert_true(loopback->pid >= 0);
    if (loopback->pid == 0) {
        (void)signal(SIGPIPE, SIG_IGN);
        (void)alarm(60); /* never outlives a broken test for long */
        serve(listener, reply, ctx);
    }
    (void)close(listener);
}

void
loopback_stop(struct loopback *loopback)
{
    (void)kill(loopback->pid, SIGKILL);
    (void)waitpid(loopback->pid, NULL, 0);
}
