/* The listening socket and its address. */
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/text.h"
#include "web/http_priv.h"

#define BACKLOG 1024 /* a whole fleet that comes back at once waits here, if it must */

/* Split "host:port" or "[host]:port" into two terminated texts in `copy`. */
static enum fsp_rc
split_address(char *copy, char **host, char **port)
{
    char *colon = strrchr(copy, ':');
    uint64_t number = 0;

    if (colon == NULL || fsp_text_u64(colon + 1, strlen(colon + 1), &number) != FSP_OK ||
            number > UINT16_MAX) /* getaddrinfo() would take it modulo 65,536 */
        return FSP_EINVAL;
    *colon = '\0';
    *port = colon + 1;
    *host = copy;
    if (copy[0] == '[') {
        if (colon[-1] != ']')
            return FSP_EINVAL;
        colon[-1] = '\0';
        *host = copy + 1;
    }
    return (*host)[0] == '\0' ? FSP_EINVAL : FSP_OK;
}

enum fsp_rc
fsp_http_open_socket(const char *address, int *fd, struct fsp_err *err)
{
    enum fsp_rc rc = FSP_OK;
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM,
            .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE};
    struct addrinfo *found = NULL;
    char *copy = strdup(address);
    char *host = NULL;
    char *port = NULL;
    const int on = 1;
    const int off = 0;

    *fd = -1;
    if (copy == NULL) {
        rc = fsp_err_set(err, FSP_ENOMEM, "out of memory");
        goto out;
    }
    if (split_address(copy, &host, &port) != FSP_OK ||
            getaddrinfo(host, port, &hints, &found) != 0 || found == NULL) {
        rc = fsp_err_set(err, FSP_EINVAL,
                "%s: not an address and port; write for example 127.0.0.1:8463 or [::1]:8463",
                address);
        goto out;
    }
    *fd = socket(found->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    /* The second is inherited by connections: a request is acknowledged with its answer, where that
     * comes soon, and not before it. Somebody pays for the bytes. */
    if (*fd < 0 || setsockopt(*fd, IPPROTO_TCP, TCP_QUICKACK, &off, sizeof(off)) != 0 ||
            setsockopt(*fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) != 0 ||
            bind(*fd, found->ai_addr, found->ai_addrlen) != 0 || listen(*fd, BACKLOG) != 0)
        rc = fsp_err_sys(err, FSP_EUNAVAIL, errno, "cannot listen on %s", address);
out:
    if (rc != FSP_OK && *fd >= 0) {
        (void)close(*fd);
        *fd = -1;
    }
    if (found != NULL)
        freeaddrinfo(found);
    free(copy);
    return rc;
}

enum fsp_rc
fsp_http_make_url(struct fsp_http *http, int fd, struct fsp_err *err)
{
    struct sockaddr_storage name;
    socklen_t len = sizeof(name);
    char host[64];
    char port[8];
    char url[96];
    bool six;

    memset(&name, 0, sizeof(name));
    if (getsockname(fd, (struct sockaddr *)&name, &len) != 0 ||
            getnameinfo((struct sockaddr *)&name, len, host, sizeof(host), port, sizeof(port),
                    NI_NUMERICHOST | NI_NUMERICSERV) != 0)
        return fsp_err_set(err, FSP_EUNAVAIL, "cannot tell the port that was opened");
    six = name.ss_family == AF_INET6;
    (void)snprintf(url, sizeof(url), "http%s://%s%s%s:%s", http->options.tls != NULL ? "s" : "",
            six ? "[" : "", host, six ? "]" : "", port);
    http->url = strdup(url);
    return http->url == NULL ? fsp_err_set(err, FSP_ENOMEM, "out of memory") : FSP_OK;
}
