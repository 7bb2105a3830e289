#include "support/test.h"

#include <string.h>

#include "office/gate.h"

static void
pages_are_served_in_clear_on_this_machine_only(void **state)
{
    static const struct {
        const char *address;
        bool tls;
        bool proxy;
        bool may;
    } rows[] = {
            {"127.0.0.1:8464", false, false, true},
            {"127.9.9.9:0", false, false, true},
            {"[::1]:8464", false, false, true},
            {"0.0.0.0:8464", false, false, false},
            {"[::]:8464", false, false, false},
            {"192.0.2.1:8464", false, false, false},
            {"128.0.0.1:8464", false, false, false},
            {"[2001:db8::1]:8464", false, false, false},
            {"[::ffff:192.0.2.1]:8464", false, false, false},
            {"127.0.0.1.example.com:80", false, false, false},
            {"", false, false, false},
            {"0.0.0.0:8464", true, false, true},
            {"0.0.0.0:8464", false, true, true},
    };
    struct fsp_err err = {0};

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        const enum fsp_rc rc =
                fsp_gate_may_listen(rows[i].address, rows[i].tls, rows[i].proxy, &err);

        if (rc != (rows[i].may ? FSP_OK : FSP_EINVAL))
            fail_msg("%s: %d", rows[i].address, (int)rc);
        if (!rows[i].may)
            assert_non_null(strstr(err.text, "without TLS"));
    }
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(pages_are_served_in_clear_on_this_machine_only),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
