#include "unit/line/near.h"

#include <math.h>

#include "line/spread.h"

/* Golden values: numpy.quantile(…, [0, .25, .5, .75, 1]) with its default method, which is type 7;
 * the first two can be done by hand. */
static void
quarters_are_those_of_straight_lines(void **state)
{
    double four[] = {4.0, 1.0, 3.0, 2.0};
    double one[] = {7.5};
    double ten[] = {12.1, 9.8, 15.5, 10.2, 11.0, 10.9, 13.3, 8.7, 10.0, 11.4};
    struct fsp_spread spread;

    (void)state;
    fsp_spread(four, 4, &spread);
    assert_int_equal(spread.n, 4);
    assert_near(spread.least, 1.0, 0);
    assert_near(spread.low, 1.75, 1e-12);
    assert_near(spread.middle, 2.5, 1e-12);
    assert_near(spread.high, 3.25, 1e-12);
    assert_near(spread.most, 4.0, 0);
    fsp_spread(one, 1, &spread);
    assert_near(spread.low, 7.5, 0);
    assert_near(spread.high, 7.5, 0);
    fsp_spread(ten, 10, &spread);
    assert_near(spread.low, 10.05, 1e-9);
    assert_near(spread.middle, 10.95, 1e-9);
    assert_near(spread.high, 11.925, 1e-9);
}

static void
what_is_not_finite_or_not_there_is_left_out(void **state)
{
    double odd[] = {(double)NAN, 2.0, (double)INFINITY, 1.0};
    struct fsp_spread spread;

    (void)state;
    fsp_spread(odd, 4, &spread);
    assert_int_equal(spread.n, 2);
    assert_near(spread.middle, 1.5, 1e-12);
    fsp_spread(odd, 0, &spread);
    assert_int_equal(spread.n, 0);
    assert_int_equal(fsp_spread_apart(&spread, 3.0), 0);
}

static void
a_value_stands_apart_beyond_one_and_a_half_widths(void **state)
{
    double five[] = {1.0, 2.0, 3.0, 4.0, 5.0}; /* middle half 2 to 4, fences -1 and 7 */
    double four[] = {1.0, 2.0, 3.0, 4.0};
    struct fsp_spread spread;

    (void)state;
    fsp_spread(five, 5, &spread);
    assert_int_equal(fsp_spread_apart(&spread, 7.0), 0);
    assert_int_equal(fsp_spread_apart(&spread, 7.01), 1);
    assert_int_equal(fsp_spread_apart(&spread, -1.0), 0);
    assert_int_equal(fsp_spread_apart(&spread, -1.01), -1);
    assert_int_equal(fsp_spread_apart(&spread, (double)NAN), 0);
    fsp_spread(four, 4, &spread);
    assert_int_equal(fsp_spread_apart(&spread, 100.0), 0);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(quarters_are_those_of_straight_lines),
            cmocka_unit_test(what_is_not_finite_or_not_there_is_left_out),
            cmocka_unit_test(a_value_stands_apart_beyond_one_and_a_half_widths),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
