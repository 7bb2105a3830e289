/*
 * Handlers that wait (for a disk, for another) run on threads of their own, so that the event loops
 * never do: a connection whose request is whole is suspended, its request queued, and when the
 * handler has filled in the answer the connection is resumed.
 *
 * The queue has a maximum, and so have the bytes held for all bodies: beyond either, a request is
 * refused with 429 at once, before its body is read where possible. In a storm of reconnecting
 * clients each is told another time to come back.
 */
#include "web/http_priv.h"

#define RETRY_LEAST_S  2u
#define RETRY_SPREAD_S 30u

unsigned
fsp_http_retry_after(struct fsp_http *http)
{
    const struct fsp_env *env = http->options.env;
    uint32_t random = 0;

    env->random(env->ctx, &random, sizeof(random));
    return RETRY_LEAST_S + random % (RETRY_SPREAD_S + 1);
}

bool
fsp_http_queue_add(
        struct fsp_http *http, struct MHD_Connection *connection, struct request *request)
{
    bool added;

    fsp_http_lock(http);
    added = http->stats.queued < http->options.queue_max && !http->stats.stopping;
    if (added) {
        request->stage = REQUEST_QUEUED;
        request->next = NULL;
        MHD_suspend_connection(connection); /* before a worker can resume it */
        *http->last = request;
        http->last = &request->next;
        http->stats.queued++;
        (void)pthread_cond_signal(&http->work);
    }
    fsp_http_unlock(http);
    return added;
}

/* Locked. */
static struct request *
take_first(struct fsp_http *http)
{
    struct request *request = http->first;

    http->first = request->next;
    if (http->first == NULL)
        http->last = &http->first;
    http->stats.queued--;
    return request;
}

void *
fsp_http_work(void *cls)
{
    struct fsp_http *http = cls;

    fsp_http_lock(http);
    for (;;) {
        struct request *request;
        bool stopping;

        while (http->first == NULL && !http->stopping)
            (void)pthread_cond_wait(&http->work, &http->mutex);
        if (http->first == NULL)
            break;
        request = take_first(http);
        stopping = http->stats.stopping;
        fsp_http_unlock(http);
        if (stopping) {
            fsp_http_refuse(&request->answer, MHD_HTTP_SERVICE_UNAVAILABLE,
                    "the office is stopping; keep it and try again");
            request->answer.retry_after_s = fsp_http_retry_after(http);
        } else {
            request->route->handle(request->ctx, &request->seen, &request->answer);
        }
        fsp_http_lock(http);
        request->stage = REQUEST_HANDLED;
        MHD_resume_connection(request->seen.connection);
    }
    fsp_http_unlock(http);
    return NULL;
}
