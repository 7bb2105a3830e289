/*
 * cmocka with its include order fixed, and the two checks every test wants.
 */
#ifndef FSP_TESTS_SUPPORT_TEST_H
#define FSP_TESTS_SUPPORT_TEST_H

// clang-format off
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
// clang-format on

#include <stdio.h>

#include "base/err.h"

/* Fail with the error's own text when rc is not FSP_OK. */
#define assert_ok(rc, err)                                                                     \
    do {                                                                                       \
        enum fsp_rc assert_ok_rc = (rc);                                                       \
        if (assert_ok_rc != FSP_OK)                                                            \
            fail_msg("rc %d: %s", (int)assert_ok_rc, (err)->text);                             \
    } while (0)

/* |got - want| <= tolerance, with both printed on failure. */
#define assert_near(got, want, tolerance)                                                      \
    do {                                                                                       \
        double assert_near_got = (got);                                                        \
        double assert_near_want = (want);                                                      \
        double assert_near_gap = assert_near_got - assert_near_want;                           \
        if (!(assert_near_gap <= (tolerance) && -assert_near_gap <= (tolerance)))              \
            fail_msg("got %.12g, want %.12g +- %.3g", assert_near_got, assert_near_want,       \
                    (double)(tolerance));                                                      \
    } while (0)

#endif
