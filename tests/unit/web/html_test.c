#include "support/test.h"

#include <string.h>

#include "web/html.h"

static void
text_is_escaped(void **state)
{
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_html_begin(&html, &buf);
    fsp_html_element(&html, "p", NULL, "<script>alert(\"1\" & '2')</script>");
    fsp_html_end(&html);
    assert_int_equal(buf.rc, FSP_OK);
    assert_string_equal(fsp_buf_peek(&buf),
            "<!doctype html>\n<p>&lt;script&gt;alert(&quot;1&quot; &amp; "
            "&#39;2&#39;)&lt;/script&gt;</p>\n\n");
    fsp_buf_fini(&buf);
}

static void
attributes_cannot_be_left(void **state)
{
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_html_begin(&html, &buf);
    fsp_html_open(&html, "td");
    fsp_html_attr(&html, "title", "a\" onclick=\"x");
    fsp_html_text(&html, NULL);
    fsp_html_close(&html);
    fsp_html_end(&html);
    assert_non_null(strstr(fsp_buf_peek(&buf), "<td title=\"a&quot; onclick=&quot;x\"></td>"));
    fsp_buf_fini(&buf);
}

static void
control_and_direction_characters_are_shown_as_bytes(void **state)
{
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_html_begin(&html, &buf);
    fsp_html_element(&html, "p", NULL, "a\x1b[31m<b>\xe2\x80\xaezz");
    fsp_html_element(&html, "p", NULL, "bad \xff utf");
    fsp_html_end(&html);
    assert_null(strchr(fsp_buf_peek(&buf), 0x1b));
    assert_null(strstr(fsp_buf_peek(&buf), "\xe2\x80\xae"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "\\x1b"));
    assert_non_null(strstr(fsp_buf_peek(&buf), "\\xff"));
    assert_null(strstr(fsp_buf_peek(&buf), "<b>"));
    fsp_buf_fini(&buf);
}

static void
addresses_that_run_scripts_are_dropped(void **state)
{
    static const struct {
        const char *value;
        const char *written;
    } rows[] = {
            {"/rig/heron", "href=\"/rig/heron\""},
            {"#cuts", "href=\"#cuts\""},
            {"https://example.com/", "href=\"https://example.com/\""},
            {"javascript:alert(1)", "href=\"#\""},
            {" javascript:alert(1)", "href=\"#\""},
            {"//example.com/", "href=\"#\""},
            {"/\\example.com/", "href=\"#\""},
            {"data:text/html,x", "href=\"#\""},
            {"", "href=\"#\""},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_buf buf;
        struct fsp_html html;

        fsp_buf_init(&buf, 4096);
        fsp_html_begin(&html, &buf);
        fsp_html_open(&html, "a");
        fsp_html_attr(&html, "href", rows[i].value);
        fsp_html_close(&html);
        fsp_html_end(&html);
        if (strstr(fsp_buf_peek(&buf), rows[i].written) == NULL)
            fail_msg("%s became %s", rows[i].value, fsp_buf_peek(&buf));
        fsp_buf_fini(&buf);
    }
}

static void
nested_and_void_elements_close_in_order(void **state)
{
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 4096);
    fsp_html_begin(&html, &buf);
    fsp_html_open(&html, "p");
    fsp_html_attr(&html, "class", "a");
    fsp_html_text(&html, "x");
    fsp_html_void(&html, "br");
    fsp_html_element(&html, "b", "c", "y");
    fsp_html_close(&html);
    fsp_html_end(&html);
    assert_string_equal(fsp_buf_peek(&buf),
            "<!doctype html>\n<p class=\"a\">x<br><b class=\"c\">y</b>\n</p>\n\n");
    fsp_buf_fini(&buf);
}

static void
a_page_over_its_maximum_fails_and_stays_failed(void **state)
{
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 40);
    fsp_html_begin(&html, &buf);
    for (int i = 0; i < 10; i++)
        fsp_html_element(&html, "p", NULL, "more\x01and more");
    fsp_html_end(&html);
    assert_int_equal(buf.rc, FSP_ELIMIT);
    fsp_buf_fini(&buf);
}

static void
forms_tie_label_hint_and_fault_to_their_control(void **state)
{
    static const struct fsp_html_control name = {.name = "name",
            .label = "Name",
            .value = "a\"b<c",
            .autocomplete = "username",
            .hint = "as on the list",
            .fault = "no such name",
            .max = 40,
            .needed = true};
    static const struct fsp_html_control password = {.name = "password",
            .label = "Password",
            .type = "password",
            .value = "secret words"};
    static const struct fsp_html_control note = {
            .name = "note", .id = "note-2", .label = "Note", .value = "\none\ntwo </textarea>"};
    static const struct fsp_html_control role = {.name = "role", .label = "Role", .value = "b"};
    static const struct fsp_html_choice choices[] = {{"a", NULL}, {"b", "the second"}};
    static const char *const wanted[] = {
            "<form method=\"post\" action=\"/people\" accept-charset=\"utf-8\">",
            "<input type=\"hidden\" name=\"form\" value=\"tok\">",
            "<label for=\"name\">Name</label>",
            "id=\"name-hint\">as on the list<",
            "id=\"name-fault\">no such name<",
            "<input type=\"text\" id=\"name\" name=\"name\" autocomplete=\"username\" ",
            "maxlength=\"40\" required=\"\" aria-invalid=\"true\" ",
            "aria-describedby=\"name-hint name-fault\" value=\"a&quot;b&lt;c\">",
            "<input type=\"password\" id=\"password\" name=\"password\">",
            "<label for=\"note-2\">",
            "id=\"note-2\" name=\"note\" rows=\"3\">\n\none\ntwo &lt;/textarea&gt;</textarea>",
            "<option value=\"a\">a</option>",
            "<option value=\"b\" selected=\"\">the second</option>",
            "<button type=\"submit\" name=\"do\" value=\"x\">Send</button>",
            "<textarea name=\"text\" hidden=\"\" readonly=\"\">\none\ntwo</textarea>",
            "<script src=\"/board.js\" defer=\"\"></script>",
            "<form method=\"get\" action=\"#\"",
    };
    struct fsp_buf buf;
    struct fsp_html html;

    (void)state;
    fsp_buf_init(&buf, 8192);
    fsp_html_begin(&html, &buf);
    fsp_html_form(&html, "/people", "tok");
    fsp_html_input(&html, &name);
    fsp_html_input(&html, &password);
    fsp_html_textarea(&html, &note, 3);
    fsp_html_select(&html, &role, choices, 2);
    fsp_html_hidden_lines(&html, "text", "one\ntwo");
    fsp_html_check(&html, "sure", "I am sure", false);
    fsp_html_button(&html, "Send", "do", "x");
    fsp_html_close(&html);
    fsp_html_search(&html, "javascript:x");
    fsp_html_close(&html);
    fsp_html_script(&html, "/board.js");
    fsp_html_end(&html);
    assert_int_equal(buf.rc, FSP_OK);
    for (size_t i = 0; i < sizeof(wanted) / sizeof(wanted[0]); i++)
        if (strstr(fsp_buf_peek(&buf), wanted[i]) == NULL)
            fail_msg("no %s in %s", wanted[i], fsp_buf_peek(&buf));
    assert_null(strstr(fsp_buf_peek(&buf), "secret words"));
    fsp_buf_fini(&buf);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(text_is_escaped),
            cmocka_unit_test(attributes_cannot_be_left),
            cmocka_unit_test(control_and_direction_characters_are_shown_as_bytes),
            cmocka_unit_test(addresses_that_run_scripts_are_dropped),
            cmocka_unit_test(nested_and_void_elements_close_in_order),
            cmocka_unit_test(forms_tie_label_hint_and_fault_to_their_control),
            cmocka_unit_test(a_page_over_its_maximum_fails_and_stays_failed),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
