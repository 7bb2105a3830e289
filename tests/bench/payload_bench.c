/*
 * Bytes a record in a bundle, seal and head aside: payload_bench STORED, one entry a line; means over
 * up to 60 runs of consecutive entries.
 */
#include <stdio.h>

#include "bench/bench.h"
#include "wire/dictionary.h"

int
main(int argc, char **argv)
{
    static const size_t sizes[] = {1, 10, 100, 500};
    static const char *const limits[] = {"", "  (at most 38)", "  (at most 30)", ""};
    struct fsp_entry_bytes *entries;
    struct fsp_err err;
    size_t n;

    if (argc != 2) {
        (void)fprintf(stderr, "usage: payload_bench STORED\n");
        return 64;
    }
    entries = bench_entries(argv[1], &n);
    for (size_t k = 0; k < sizeof(sizes) / sizeof(sizes[0]); k++) {
        size_t step = n / 60 > sizes[k] ? n / 60 : sizes[k];
        size_t bytes = 0;
        size_t records = 0;

        for (size_t i = 0; i + sizes[k] <= n; i += step) {
            size_t size = 0;

            bench_must(fsp_bundle_payload_size(
                               FSP_DICTIONARY_NEWEST, entries + i, sizes[k], &size, &err),
                    &err);
            bytes += size;
            records += sizes[k];
        }
        if (records > 0)
            (void)printf("payload_%zu %.1f bytes/record%s\n", sizes[k],
                    (double)bytes / (double)records, limits[k]);
    }
    bench_free(entries);
    return 0;
}
