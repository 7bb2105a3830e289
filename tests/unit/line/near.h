/*
 * assert_near as a function: the same check, cheaper for the reader's and the tool's count of
 * branches. Include it after support/test.h.
 */
#ifndef FSP_TESTS_LINE_NEAR_H
#define FSP_TESTS_LINE_NEAR_H

#include "support/test.h"

static inline void
near_or_fail(double got, double want, double tolerance, const char *file, int line)
{
    double gap = got - want;

    if (gap <= tolerance && -gap <= tolerance)
        return;
    print_error("got %.12g, want %.12g +- %.3g\n", got, want, tolerance);
    _fail(file, line);
}

#undef assert_near
#define assert_near(got, want, tolerance)                                                      \
    near_or_fail((got), (want), (tolerance), __FILE__, __LINE__)

#endif
