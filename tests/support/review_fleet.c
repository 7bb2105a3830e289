/*
 * What the review says of a fleet's cuts, for the end-to-end tests. Reads lines:
 *   rig                                     the next rig begins
 *   cut DAY ROPE_MM ELIGIBLE EARLY LOW CHANGED     its next cut (flags are 0 or 1)
 *   tail N K P                              answers with the binomial tail
 * and at the end prints, for every cut of every rig as its newest: state, window, early, the fleet's
 * cuts, rate and tail.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "line/review.h"

#define RIGS 64
#define CUTS 256

static struct fsp_cut_row rows[RIGS][CUTS];
static const struct fsp_cut_row *lists[RIGS][CUTS];
static size_t n_cuts[RIGS];
static size_t n_rigs;

static int
fail(const char *what)
{
    (void)fprintf(stderr, "review_fleet: %s\n", what);
    return 1;
}

static bool
add_cut(const char *line)
{
    struct fsp_cut_row *row;
    char *end = NULL;
    double value[6];

    if (n_rigs == 0 || n_cuts[n_rigs - 1] == CUTS)
        return false;
    for (int i = 0; i < 6; i++, line = end) {
        value[i] = strtod(line, &end);
        if (end == line)
            return false;
    }
    row = &rows[n_rigs - 1][n_cuts[n_rigs - 1]];
    lists[n_rigs - 1][n_cuts[n_rigs - 1]++] = row;
    row->at_s = (int64_t)value[0] * FSP_S_PER_DAY;
    row->rope_m = value[1] / 1000;
    row->eligible = value[2] > 0;
    row->early = value[3] > 0;
    row->low = value[4] > 0;
    row->changed = value[5] > 0;
    return true;
}

static void
answer_tail(const char *line)
{
    char *end = NULL;
    size_t n = strtoul(line, &end, 10);
    size_t k = strtoul(end, &end, 10);

    (void)printf("%.17g\n", fsp_review_tail(n, k, strtod(end, NULL)));
}

static int
answer_fleet(void)
{
    struct fsp_review_rates *rates = NULL;
    struct fsp_err err = {.rc = FSP_OK};

    if (fsp_review_rates_new(&rates, &err) != FSP_OK)
        return fail(err.text);
    for (size_t i = 0; i < n_rigs; i++)
        if (fsp_review_rates_add(rates, lists[i], n_cuts[i], &err) != FSP_OK)
            return fail(err.text);
    fsp_review_rates_close(rates);
    for (size_t i = 0; i < n_rigs; i++)
        for (size_t n = 1; n <= n_cuts[i]; n++) {
            struct fsp_review review;

            fsp_review_judge(lists[i], n, &(struct fsp_review_about){.rates = rates}, &review);
            (void)printf("%s %zu %zu %zu %.17g %.17g\n", fsp_review_state_text(review.state),
                    review.window, review.early, review.rate_cuts, review.rate, review.tail);
        }
    fsp_review_rates_free(rates);
    return 0;
}

int
main(void)
{
    char line[256];

    while (fgets(line, sizeof(line), stdin) != NULL) {
        if (strncmp(line, "tail ", 5) == 0)
            answer_tail(line + 5);
        else if (strncmp(line, "rig", 3) == 0 && n_rigs < RIGS)
            n_rigs++;
        else if (strncmp(line, "cut ", 4) != 0 || !add_cut(line + 4))
            return fail(line);
    }
    return answer_fleet();
}
