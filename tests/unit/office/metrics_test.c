#include "support/test.h"

#include <string.h>

#include "office/metrics.h"

static void
make(struct fsp_buf *out, const struct fsp_metrics *metrics)
{
    fsp_buf_init(out, (size_t)64 * 1024);
    fsp_metrics_text(metrics, out);
    assert_int_equal(out->rc, FSP_OK);
}

static void
every_count_stands_under_its_name(void **state)
{
    static const char *const lines[] = {"\nfarspool_bundles_total{status=\"200\"} 7\n",
            "\nfarspool_bundles_total{status=\"other\"} 1\n", "\nfarspool_records_total 500\n",
            "\nfarspool_requests_total{listener=\"intake\"} 12\n",
            "\nfarspool_refused_requests_total{listener=\"intake\"} 3\n",
            "\nfarspool_accepted_connections_total{listener=\"pages\"} 8\n",
            "\nfarspool_cut_connections_total{listener=\"intake\"} 2\n",
            "\nfarspool_evicted_connections_total{listener=\"intake\"} 4\n",
            "\nfarspool_received_bytes_total{listener=\"intake\"} 9000\n",
            "\nfarspool_sent_bytes_total{listener=\"pages\"} 77\n",
            "\nfarspool_connections{listener=\"intake\"} 5\n", "\nfarspool_queued_bundles 6\n",
            "\nfarspool_held_bytes 1000\n", "\nfarspool_up_seconds 60\n",
            "\nfarspool_commit_age_seconds 9\n", "\nfarspool_lagging_records 11\n",
            "\nfarspool_lagging_rigs 2\n", "\nfarspool_lag_age_seconds 13\n",
            "\nfarspool_shown_rigs 14\n", "\nfarspool_reading_failed 1\n"};
    struct fsp_metrics metrics = {.intake = {.connections = 5,
                                          .queued = 6,
                                          .body_bytes = 1000,
                                          .cut = 2,
                                          .evicted = 4,
                                          .refused = 3,
                                          .requests = 12,
                                          .bytes_in = 9000},
            .pages = {.accepted = 8, .bytes_out = 77},
            .records = 500,
            .has_commit = true,
            .commit_age_s = 9,
            .up_s = 60,
            .lag = {.entries = 11, .rigs = 2, .rigs_read = 14, .failed = true},
            .lag_age_s = 13};
    struct fsp_buf out;

    (void)state;
    metrics.bundles[fsp_metrics_status(200)] = 7;
    metrics.bundles[fsp_metrics_status(418)] = 1;
    make(&out, &metrics);
    for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++)
        if (strstr(fsp_buf_peek(&out), lines[i]) == NULL)
            fail_msg("not there: %s", lines[i]);
    fsp_buf_fini(&out);
}

static void
the_age_of_the_last_commit_is_left_out_before_the_first(void **state)
{
    struct fsp_metrics metrics = {.has_commit = false};
    struct fsp_buf out;

    (void)state;
    make(&out, &metrics);
    assert_null(strstr(fsp_buf_peek(&out), "commit_age"));
    fsp_buf_fini(&out);
}

/* OpenMetrics 1.0.0: each family has its type before its samples and stands in one place, counters
 * end in _total, a unit is the end of its family's name, the text ends in "# EOF". */
static void
the_text_keeps_the_rules_of_open_metrics(void **state)
{
    struct fsp_metrics metrics = {.has_commit = true};
    struct fsp_buf out;
    char name[64] = "";
    char type[16] = "";
    char seen[4096] = " ";
    char *line;
    char *rest = NULL;

    (void)state;
    make(&out, &metrics);
    assert_string_equal(fsp_buf_peek(&out) + out.len - 6, "# EOF\n");
    for (line = strtok_r((char *)out.data, "\n", &rest); line != NULL;
            line = strtok_r(NULL, "\n", &rest)) {
        char unit[32];
        char word[80];

        if (strcmp(line, "# EOF") == 0)
            break;
        if (sscanf(line, "# TYPE %63s %15s", name, type) == 2) {
            (void)snprintf(word, sizeof(word), " %s ", name);
            assert_null(strstr(seen, word));
            assert_true(strlen(seen) + strlen(word) < sizeof(seen));
            memcpy(seen + strlen(seen), word, strlen(word) + 1);
            continue;
        }
        if (sscanf(line, "# UNIT %63s %31s", word, unit) == 2) {
            assert_string_equal(word, name);
            assert_string_equal(name + strlen(name) - strlen(unit), unit);
            continue;
        }
        if (line[0] == '#') {
            assert_memory_equal(line, "# HELP ", 7);
            continue;
        }
        (void)snprintf(
                word, sizeof(word), "%s%s", name, strcmp(type, "counter") == 0 ? "_total" : "");
        assert_memory_equal(line, word, strlen(word));
        assert_true(line[strlen(word)] == ' ' || line[strlen(word)] == '{');
    }
    assert_non_null(line);
    assert_null(strtok_r(NULL, "\n", &rest));
    fsp_buf_fini(&out);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(every_count_stands_under_its_name),
            cmocka_unit_test(the_age_of_the_last_commit_is_left_out_before_the_first),
            cmocka_unit_test(the_text_keeps_the_rules_of_open_metrics),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
