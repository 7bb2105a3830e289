#include "support/mutate.h"

size_t
mutate_below(struct seeded *seeded, size_t n)
{
    return n == 0 ? 0 : (size_t)(evidence_random(seeded) % n);
}

static void
mutate_once(struct fsp_buf *out, const struct fsp_buf *in, struct seeded *seeded)
{
    static const char useful[] = "\n\t +=-0129AZa/#\x1b\x7f\x80\xe2\xff";
    const size_t at = mutate_below(seeded, in->len);
    const size_t n = mutate_below(seeded, in->len - at < 90 ? in->len - at : 90);
    const size_t to = mutate_below(seeded, in->len);

    fsp_buf_reset(out);
    fsp_buf_add(out, in->data, at);
    switch (mutate_below(seeded, 6)) {
    case 0:
        fsp_buf_add_byte(out, in->data[at] ^ (uint8_t)(1u << mutate_below(seeded, 8)));
        fsp_buf_add(out, in->data + at + 1, in->len - at - 1);
        break;
    case 1:
        fsp_buf_add_byte(out, (uint8_t)useful[mutate_below(seeded, sizeof(useful))]);
        fsp_buf_add(out, in->data + at, in->len - at);
        break;
    case 2:
        break;
    case 3:
        fsp_buf_add(out, in->data + at + n, in->len - at - n);
        break;
    case 4:
        fsp_buf_add(out, in->data + at, n);
        fsp_buf_add(out, in->data + at, in->len - at);
        break;
    default:
        fsp_buf_add(out, in->data + to, in->len - to < n ? in->len - to : n);
        fsp_buf_add(out, in->data + at, in->len - at);
        break;
    }
}

void
mutate(struct fsp_buf *out, struct fsp_buf *spare, const struct fsp_buf *in,
        struct seeded *seeded)
{
    mutate_once(out, in, seeded);
    for (size_t more = mutate_below(seeded, 3); more > 0 && out->len > 0; more--) {
        fsp_buf_reset(spare);
        fsp_buf_add(spare, out->data, out->len);
        mutate_once(out, spare, seeded);
    }
}
