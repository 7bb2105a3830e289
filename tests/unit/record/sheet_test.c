#include "support/test.h"

#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/sheet.h"

static const struct fsp_check_context context = {NULL, INT64_C(1772366400), NULL, NULL};

#define HEADER    "kind,at,by,note,length\n"
#define NOTES_MAX 4096
#define AT        "2026-03-01T00:00:00Z"

/* Read all rows; returns the first failure, FSP_OK at the end. notes: the rows' note, '|' parted. */
static enum fsp_rc
read_all(const char *text, size_t len, size_t *rows, char *notes, struct fsp_err *err)
{
    struct fsp_sheet *sheet = NULL;
    size_t line = 0;
    enum fsp_rc rc;

    *rows = 0;
    notes[0] = '\0';
    rc = fsp_sheet_new((const uint8_t *)text, len, fsp_sheet_guess((const uint8_t *)text, len),
            &sheet, err);
    while (rc == FSP_OK) {
        struct fsp_record *record = NULL;

        rc = fsp_sheet_next(sheet, &context, &record, &line, err);
        if (rc != FSP_OK)
            break;
        ++*rows;
        if (fsp_record_has(record, "note")) {
            size_t used = strlen(notes);

            (void)snprintf(
                    notes + used, NOTES_MAX - used, "%s|", fsp_record_text(record, "note"));
        }
        fsp_record_free(record);
    }
    fsp_sheet_free(sheet);
    return rc == FSP_ENOTFOUND ? FSP_OK : rc;
}

static void
assert_notes(const char *text, size_t rows, const char *want)
{
    struct fsp_err err = {FSP_OK, 0, ""};
    char notes[NOTES_MAX];
    size_t n = 0;

    if (read_all(text, strlen(text), &n, notes, &err) != FSP_OK)
        fail_msg("%s: %s", text, err.text);
    assert_int_equal(n, rows);
    assert_string_equal(notes, want);
}

static void
assert_fault(const char *text, const char *says)
{
    struct fsp_err err = {FSP_OK, 0, ""};
    char notes[NOTES_MAX];
    size_t n = 0;
    enum fsp_rc rc = read_all(text, strlen(text), &n, notes, &err);

    if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
        fail_msg("%s: rc %d", text, (int)rc);
    if (strstr(err.text, says) == NULL)
        fail_msg("%s: %s", text, err.text);
}

static void
sheets_are_read_as_rfc_4180_says(void **state)
{
    (void)state;
    /* Section 2: rules 1 and 2 line ends, the last one may lack; 3 the header; 5 quotes; 6 line
     * breaks and commas in quotes; 7 doubled quotes. The cells are those of its examples. */
    assert_notes(HEADER "slip," AT ",x,aaa,3m\r\nslip," AT ",x,zzz,3m\r\n", 2, "aaa|zzz|");
    assert_notes(HEADER "slip," AT ",x,aaa,3m\nslip," AT ",x,zzz,3m", 2, "aaa|zzz|");
    assert_notes(HEADER "\"slip\",\"" AT "\",\"x\",\"b, b\",\"3m\"", 1, "b, b|");
    assert_notes(HEADER "slip," AT ",x,\"b \"\"CRLF\"\" bb\",3m\n", 1, "b \"CRLF\" bb|");
    assert_notes(
            HEADER "slip," AT ",x,\"b\r\nbb\",3m\nslip," AT ",x,\"c\nd\",3m", 2, "b bb|c d|");
    assert_notes("\xEF\xBB\xBF" HEADER "slip," AT ",x,aaa,3m\n", 1, "aaa|");
    assert_notes("\n\r\n" HEADER "\nslip," AT ",x,aaa,3m\n\r\n,,,,\n\n", 1, "aaa|");
    assert_notes(" kind , at,by,\"note\",length\r\nslip, " AT " ,x, aaa ,3m\r\n", 1, "aaa|");
    assert_notes(HEADER "slip," AT ",x,\"caf\xC3\xA9\",3m\n", 1, "caf\xC3\xA9|");
    assert_notes(HEADER, 0, "");
}

static void
rows_of_several_kinds_share_a_sheet(void **state)
{
    (void)state;
    assert_notes("kind,at,by,reel,length,note\nturn," AT ",x,R-7,,one\nslip," AT ",x,,3m,two\n",
            2, "one|two|");
}

static void
faults_name_line_and_field(void **state)
{
    (void)state;
    assert_fault("", "line 1: the sheet is empty");
    assert_fault("\n\n", "the sheet is empty");
    assert_fault("at,by\n", "line 1: there is no column named kind");
    assert_fault("kind;at;by\nslip;x;y\n", "line 1: columns are parted by semicolons");
    assert_fault("kind\tat\tby\n", "line 1: columns are parted by tabs");
    assert_fault("kind,at,by,lenght\n",
            "column 'lenght' is no field of any kind; did you mean length?");
    assert_fault("kind,at,by,at\n", "column at is named twice");
    assert_fault("kind,at,by,,length\n", "line 1: column 4 has no name");
    assert_fault("\xFF\xFEk\n", "UTF-16");
    assert_fault(HEADER "slip," AT ",x,a,3m\n\nslip," AT ",x,a,4000\n",
            "line 4, field length: '4000' has no unit");
    assert_fault(
            HEADER "slip," AT ",x,a,\"1,5m\"\n", "line 2, field length: '1,5m' has a comma");
    assert_fault(HEADER "slip," AT ",x,a,1,5m\n",
            "line 2: 6 cells, the header names 5; a comma in a cell");
    assert_fault(HEADER "slip," AT ",x,a\n", "line 2: 4 cells, the header names 5");
    assert_fault(
            HEADER "slip," AT ",x,\"a\nb\nc\",3m\nslip," AT ",x,a,3\n", "line 5, field length");
    assert_fault(HEADER "," AT ",x,a,3m\n", "line 2, field kind: required");
    assert_fault(HEADER "slpi," AT ",x,a,3m\n",
            "line 2, field kind: 'slpi' is not known; did you mean slip?");
    assert_fault(HEADER "slip," AT ",x,a\"b,3m\n", "line 2, cell 4: a quote inside a cell");
    assert_fault(HEADER "slip," AT ",x,\"a\"b,3m\n",
            "line 2, cell 4: something follows the closing quote");
    assert_fault(HEADER "slip," AT ",x,\"a,3m\n", "line 2: a quote is opened and never closed");
    assert_fault(
            HEADER "slip," AT ",x,a\x01,3m\n", "line 2, field note: 'a\\x01' holds a control");
    assert_fault(HEADER "slip," AT ",x,\xE9,3m\n", "line 2, field note");
    assert_fault(HEADER "slip,2031-01-01T00:00:00Z,x,a,3m\n",
            "line 2, field at: 2031-01-01T00:00:00Z is more than 24 h");
}

static void
a_zero_byte_is_refused(void **state)
{
    static const char text[] = HEADER "slip," AT ",x,a\0b,3m\n";
    struct fsp_err err = {FSP_OK, 0, ""};
    char notes[NOTES_MAX];
    size_t n = 0;

    (void)state;
    assert_int_equal(read_all(text, sizeof(text) - 1, &n, notes, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "line 2: a zero byte"));
}

static void
a_line_without_end_is_refused(void **state)
{
    struct fsp_err err = {FSP_OK, 0, ""};
    size_t len = (size_t)8 * 1024 * 1024;
    char *text = malloc(len);
    char notes[NOTES_MAX];
    size_t n = 0;

    (void)state;
    assert_non_null(text);
    memset(text, 'x', len);
    assert_int_equal(read_all(text, len, &n, notes, &err), FSP_ELIMIT);
    assert_non_null(strstr(err.text, "line 1: longer than 65536 bytes"));
    memset(text, '"', len);
    assert_int_equal(read_all(text, len, &n, notes, &err), FSP_ELIMIT);
    memset(text, ',', len);
    assert_int_equal(read_all(text, len, &n, notes, &err), FSP_ELIMIT);
    memset(text, 'x', len);
    text[0] = '{';
    assert_int_equal(read_all(text, len, &n, notes, &err), FSP_ELIMIT);
    assert_non_null(strstr(err.text, "line 1: longer than"));
    free(text);
}

static void
a_sheet_over_the_size_is_refused_unread(void **state)
{
    struct fsp_sheet *sheet = NULL;
    struct fsp_err err = {FSP_OK, 0, ""};

    (void)state;
    assert_int_equal(
            fsp_sheet_new((const uint8_t *)"", FSP_SHEET_MAX + 1, FSP_SHEET_CSV, &sheet, &err),
            FSP_ELIMIT);
    assert_null(sheet);
}

static void
the_limit_of_rows_is_exact(void **state)
{
    static const char row[] =
            "{\"kind\":\"turn\",\"at\":\"" AT "\",\"by\":\"x\",\"reel\":\"R\"}\n";
    size_t one = sizeof(row) - 1;
    struct fsp_err err = {FSP_OK, 0, ""};
    char *text = malloc((FSP_SHEET_ROWS_MAX + 1) * one);
    char notes[NOTES_MAX];
    size_t n = 0;

    (void)state;
    assert_non_null(text);
    for (size_t i = 0; i <= FSP_SHEET_ROWS_MAX; i++)
        memcpy(text + i * one, row, one);
    assert_ok(read_all(text, FSP_SHEET_ROWS_MAX * one, &n, notes, &err), &err);
    assert_int_equal(n, FSP_SHEET_ROWS_MAX);
    assert_int_equal(
            read_all(text, (FSP_SHEET_ROWS_MAX + 1) * one, &n, notes, &err), FSP_ELIMIT);
    assert_non_null(strstr(err.text, "line 100001: more than 100000 rows"));
    free(text);
}

static void
json_lines_are_one_object_a_line(void **state)
{
    (void)state;
    assert_notes("\xEF\xBB\xBF\n{\"kind\":\"slip\",\"at\":\"" AT
                 "\",\"by\":\"x\",\"length\":\"3m\",\"note\":\"a\"}\r\n\r\n"
                 "{\"kind\":\"slip\",\"at\":\"" AT
                 "\",\"by\":\"x\",\"length\":\"3m\",\"note\":\"b\"}",
            2, "a|b|");
    assert_fault("{\"kind\":\"slip\",\n\"at\":\"" AT "\"}", "line 1: not JSON");
    assert_fault("{\"kind\":\"turn\",\"at\":\"" AT "\",\"by\":\"x\",\"reel\":\"R\"}\n"
                 "{\"kind\":\"slip\",\"at\":\"" AT "\",\"by\":\"x\",\"length\":\"3\"}\n",
            "line 2, field length: '3' has no unit");
    assert_fault("{\"kind\":\"turn\"}{}", "line 1: not JSON");
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(sheets_are_read_as_rfc_4180_says),
            cmocka_unit_test(rows_of_several_kinds_share_a_sheet),
            cmocka_unit_test(faults_name_line_and_field),
            cmocka_unit_test(a_zero_byte_is_refused),
            cmocka_unit_test(a_line_without_end_is_refused),
            cmocka_unit_test(a_sheet_over_the_size_is_refused_unread),
            cmocka_unit_test(the_limit_of_rows_is_exact),
            cmocka_unit_test(json_lines_are_one_object_a_line),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
