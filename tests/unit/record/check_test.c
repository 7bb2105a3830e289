#include "support/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "record/check.h"

#define PRESENT_S INT64_C(1772366400) /* 2026-03-01T12:00:00Z */
#define LEAF      "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA="
#define ENTRY     "{\"index\":5,\"leaf\":\"" LEAF "\",\"log\":\"k3\"}"
#define SIG                                                                                    \
    "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=="

/* A log of ten entries. */
static enum fsp_rc
name_entry(void *ctx, uint64_t index, char *out, struct fsp_err *err)
{
    (void)ctx;
    if (index >= 10)
        return fsp_err_set(err, FSP_ENOTFOUND, "no entry");
    (void)snprintf(
            out, 512, "{\"index\":%u,\"leaf\":\"" LEAF "\",\"log\":\"k3\"}", (unsigned)index);
    return FSP_OK;
}

static const int zone = 60;
static const struct fsp_check_context context = {&zone, PRESENT_S, name_entry, NULL};

#define WORDS_MAX 40

/* "name=value|name=value..." as typed members; returns rc. */
static enum fsp_rc
typed(const char *kind, const char *line, struct fsp_record **out, struct fsp_err *err)
{
    static char copy[40000];
    struct fsp_typed members[WORDS_MAX];
    size_t n = 0;

    (void)snprintf(copy, sizeof(copy), "%s", line);
    for (char *p = copy; *p != '\0';) {
        char *equals = strchr(p, '=');
        char *end = strchr(p, '|');

        assert_non_null(equals);
        assert_true(n < WORDS_MAX);
        *equals = '\0';
        members[n].name = p;
        members[n++].value = equals + 1;
        if (end == NULL)
            break;
        *end = '\0';
        p = end + 1;
    }
    return fsp_check_typed(kind, members, n, &context, out, err);
}

static void
assert_record(struct fsp_record *record, const char *want)
{
    struct fsp_record *again = NULL;
    struct fsp_buf buf;
    struct fsp_err err;

    fsp_buf_init(&buf, FSP_ENTRY_MAX);
    fsp_record_write(record, &buf);
    assert_string_equal(fsp_buf_peek(&buf), want);
    assert_ok(fsp_check_stored(buf.data, buf.len, &again, &err), &err);
    fsp_record_free(again);
    fsp_buf_fini(&buf);
    fsp_record_free(record);
}

static void
assert_typed(const char *kind, const char *line, const char *want)
{
    struct fsp_record *record = NULL;
    struct fsp_err err = {FSP_OK, 0, ""};

    if (typed(kind, line, &record, &err) != FSP_OK)
        fail_msg("%s: %s", line, err.text);
    if (want != NULL)
        assert_record(record, want);
    else
        fsp_record_free(record);
}

static void
assert_refused(const char *kind, const char *line, const char *says)
{
    struct fsp_record *record = NULL;
    struct fsp_err err = {FSP_OK, 0, ""};
    enum fsp_rc rc = typed(kind, line, &record, &err);

    if (rc != FSP_EFORMAT && rc != FSP_ELIMIT)
        fail_msg("%s: rc %d", line, (int)rc);
    if (strstr(err.text, says) == NULL)
        fail_msg("%s: %s", line, err.text);
    assert_null(record);
}

#define AT     "at=2026-03-01T00:00:00Z|by=clerk|"
#define AT_OUT "{\"at\":\"2026-03-01T00:00:00Z\","

static void
typed_members_become_canonical_bytes(void **state)
{
    (void)state;
    assert_typed("rig", AT "mast= 142ft |drum=30 in|block=47000lb|lines=|note=",
            AT_OUT "\"block\":\"47000lb\",\"by\":\"clerk\",\"drum\":\"30 in\","
                   "\"kind\":\"rig\",\"mast\":\"142ft\",\"v\":1}");
}

static void
kinds_of_all_sorts_are_taken(void **state)
{
    static const char *const rows[][2] = {
            {"rig", "mast=142ft|drum=30in|block=47000lb|drum-at=groove|zone=+01:00|"
                    "tours=06:00 18:00|crossovers=2|dead-wraps=7|indicator=with-block|"
                    "ratings=[{\"part\":\"mast\",\"load\":\"750000lb\",\"lines\":10},"
                    "{\"part\":\"hook\",\"load\":\"350t\"}]"},
            {"reel",
                    "reel=R-7|rope=1-3/8in|grade=eips|received=5000ft|strung=1800ft|lines=10|"
                    "state=used|carried-total=12000|carried-basis=estimate|strength=192000lbf"},
            {"reel", "reel=R-8|rope=35mm|grade=1960|received=1500m|strung=560m|lines=12"},
            {"unhang", "reel=R-7|left=300ft|scrapped=300ft|stored=0m"},
            {"turn", "reel=R-7"},
            {"string-up", "lines=12|drawn=280ft"},
            {"well", "well=Lantern 4|formation=hard"},
            {"state", "state=mast-raising"},
            {"tour", "tour=day|complete=yes|bit-depth=9300ft"},
            {"drill-string", "pipe=19.5lb/ft|stand=93ft|bha-weight=0lb|bha-length=0ft|mud=air"},
            {"work", "op=round-trip|depth=4000ft"},
            {"work", "op=round-trip|depth=0ft|bha-length=300ft"},
            {"work", "op=pull-out|from=9300ft|to=4100ft"},
            {"work", "op=short-trip|from=4100ft|to=9300ft"},
            {"work", "op=drilling|from=9300ft|to=9400ft|drive=top-drive|reams=1|hookload="
                     "200klb"},
            {"work", "op=reaming|from=9300ft|to=9200ft|passes=2"},
            {"work", "op=casing|depth=4000ft|casing=40lb/ft|joint=40ft|bha-length=5000ft|"
                     "sections=[{\"casing\":\"47lb/ft\",\"length\":\"500ft\"}]"},
            {"work", "op=liner|depth=9000ft|casing=29lb/ft|joint=40ft|liner-length=2000ft"},
            {"work", "op=moves|count=40|stroke=30ft|up=250klb|down=180klb|when=before"},
            {"work", "op=counted|begin=2026-02-28T06:00|end=2026-02-28T18:00|ton-miles=153.2|"
                     "source=block position"},
            {"work", "op=stated|ton-miles=80 tonne-km|basis=driller's book"},
            {"slip", "length=30ft|laps=3-1/"
                     "2|checks=[{\"item\":\"anchor\",\"result\":\"good\"}]"},
            {"cut", "length=90.3ft|reason=goal|laps=11.5|measured=tape|because=5"},
            {"cut", "length=20m|reason=other|note=torn by a hook"},
            {"check", "item=crown-saver|result=good|after=0"},
            {"inspection",
                    "fleet=lantern-basin|rig=heron|reel=R-7|inspector=A. Reed|scope=monthly|"
                    "decision=watch|places=[{\"place\":\"crossover\",\"broken-wires\":3,"
                    "\"outer-wear\":\"20%\",\"d1\":\"34.1mm\"}]|sig=" SIG},
            {"countersign", "entry=3|signer=B. Moss|sig=" SIG},
            {"adverse", "what=bit-chatter|state=begins|derate=80%"},
            {"program",
                    "cut=90ft|first-goal=1800|later-goal=1600 ton-miles|slips=3|per-foot=20|"
                    "curve=[{\"factor\":\"5\",\"share\":\"1\"},{\"factor\":\"4\",\"share\":"
                    "\"80%\"}]|credit-above=off|basis=hand"},
            {"amend", "entry=5|reason=misread|set={\"depth\":\"4100ft\",\"lines\":\"12\"}"},
            {"amend", "entry=" ENTRY "|reason=entered twice|void=yes"},
            {"renewal",
                    "from={\"origin\":\"lantern-basin/heron/k3\",\"size\":41,\"root\":\"" LEAF
                    "\"}|why=new PC"},
            {"instruction", "bytes=aGVsbG8=|sig=" SIG},
            {"done", "entry=7|answer=goal posted"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_record *record = NULL;
        struct fsp_record *stored = NULL;
        struct fsp_buf buf;
        struct fsp_err err = {FSP_OK, 0, ""};
        char line[2000];

        (void)snprintf(line, sizeof(line), AT "%s", rows[i][1]);
        if (typed(rows[i][0], line, &record, &err) != FSP_OK)
            fail_msg("%s %s: %s", rows[i][0], rows[i][1], err.text);
        fsp_buf_init(&buf, FSP_ENTRY_MAX);
        fsp_record_write(record, &buf);
        assert_ok(fsp_check_stored(buf.data, buf.len, &stored, &err), &err);
        fsp_record_free(stored);
        fsp_buf_fini(&buf);
        fsp_record_free(record);
    }
}

/* Kind, members, part of the message. */
static const char *const faults[][3] = {
        {"wrok", "", "field kind: 'wrok' is not known; did you mean work?"},
        {NULL, "", "field kind: required"},
        {"slip", "kind=cut|length=3m", "both given"},
        {"slip", "by=x|length=3m", "field at: required by kind slip, not given"},
        {"slip", "at=2026-03-01T00:00:00Z|length=3m", "field by: required"},
        {"slip", AT, "field length: required by kind slip, not given"},
        {"slip", AT "length=", "field length: required"},
        {"slip", AT "length=   ", "field length: required"},
        {"slip", AT "length=4000", "field length: '4000' has no unit; write it with one of ft"},
        {"slip", AT "length=1,5m", "field length: '1,5m' has a comma; write a point"},
        {"slip", AT "length=-3m", "field length: '-3m' must be above zero"},
        {"slip", AT "length=0m", "must be above zero"},
        {"slip", AT "length=3000ft", "'3000ft' is out of range; allowed is 0 to 1640.42 ft"},
        {"slip", AT "length=3lb", "is a load, a length is wanted"},
        {"slip", AT "length=3m|length=4m", "field length: given twice"},
        {"slip", AT "length=3m|lenght=4m",
                "field lenght: not known in kind slip; did you mean length?"},
        {"slip", AT "length=3m|mud=9.6ppg", "field mud: kind slip does not take it"},
        {"slip", AT "length=3m|zzz=", "field zzz: not known"},
        {"slip", AT "length=3m|v=2", "field v: 2 is out of range"},
        {"slip", AT "length=3m|noted=2026-03-01T00:00:00Z", "field noted: set by the program"},
        {"slip", AT "length=3m|laps=3 laps", "field laps: '3 laps' is not a bare number"},
        {"slip", AT "length=3m|row=1.5", "field row: '1.5' is not a whole number"},
        {"slip", AT "length=3m|row=-1", "field row: '-1' is not a whole number"},
        {"slip", AT "length=3m|note=a\tb", "field note: 'a\\x09b' holds a control"},
        {"slip", AT "length=3m|note=\xFF", "field note: '\\xff' holds a control"},
        {"slip", AT "length=3m|checks=good", "field checks: not JSON"},
        {"slip", AT "length=3m|checks={}", "field checks: a list"},
        {"slip", AT "length=3m|checks=[]", "at least one item"},
        {"slip", AT "length=3m|checks=[3]", "field checks: item 1: an object"},
        {"slip", AT "length=3m|checks=[{\"item\":\"x\"}]",
                "field checks: item 1: result: required"},
        {"slip", AT "length=3m|checks=[{\"item\":\"x\",\"result\":\"y\",\"resalt\":\"z\"}]",
                "item 1: resalt: not known here; did you mean result?"},
        {"rig",
                AT "mast=142ft|drum=30in|block=47000lb|ratings=[{\"part\":\"mast\",\"load\":"
                   "\"750000\"}]",
                "field ratings: item 1: load: '750000' has no unit"},
        {"rig",
                AT "mast=142ft|drum=30in|block=47000lb|ratings=[{\"part\":\"mast\","
                   "\"load\":1.5}]",
                "with decimals"},
        {"rig", AT "mast=142m|drum=30in|block=47000lb",
                "field mast: '142m' is out of range; allowed is 10 to 100 m"},
        {"rig", AT "mast=142ft|drum=30in|block=47000lb|zone=CET",
                "field zone: 'CET' is not an offset"},
        {"rig", AT "mast=142ft|drum=30in|block=47000lb|tours=6:00",
                "field tours: '6:00' is not a list"},
        {"rig", AT "mast=142ft|drum=30in|block=47000lb|tours=18:00 06:00", "rising times"},
        {"rig", AT "mast=142ft|drum=30in|block=47000lb|tours=24:00", "rising times"},
        {"rig", AT "mast=142ft|drum=30in|block=47000lb|drum-at=grove",
                "field drum-at: 'grove' is not known; did you mean groove? (one of groove "
                "bare)"},
        {"reel", AT "reel=R|rope=3.5cm|grade=EIPS|received=1m|strung=1m|lines=10",
                "in in or mm"},
        {"reel", AT "reel=R|rope=8mm|grade=EIPS|received=9m|strung=9m|lines=10", "10 to 80 mm"},
        {"reel", AT "reel=R|rope=35mm|grade=XIPS|received=9m|strung=9m|lines=10",
                "field grade: 'XIPS' is no grade"},
        {"reel", AT "reel=R|rope=35mm|grade=1500|received=9m|strung=9m|lines=10",
                "is no grade"},
        {"reel", AT "reel=R|rope=35mm|grade=IPS|received=9m|strung=9m|lines=9",
                "field lines: 9 is odd"},
        {"reel", AT "reel=R|rope=35mm|grade=IPS|received=9m|strung=9m|lines=22",
                "allowed is 2 to 20"},
        {"work", AT "depth=90m", "field op: required by kind work"},
        {"work", AT "op=roundtrip|depth=90m",
                "field op: 'roundtrip' is not known; did you mean round-trip?"},
        {"work", AT "op=round-trip", "field depth: required by op round-trip, not given"},
        {"work", AT "op=round-trip|depth=90m|from=3m",
                "field from: op round-trip does not take it"},
        {"work", AT "op=round-trip|depth=90m|ton-miles=3",
                "field ton-miles: worked out by the program"},
        {"work", AT "op=stated|ton-miles=3|basis=x|factor=4", "field factor: worked out"},
        {"work", AT "op=round-trip|depth=200ft|bha-length=300ft",
                "field depth: '200ft' is less than the bottom-hole assembly (300ft)"},
        {"work", AT "op=run-in|from=1m|to=900m|bha-length=300ft", "field from: '1m' is less"},
        {"work", AT "op=drilling|from=900m|to=800m", "from and to changed over?"},
        {"work", AT "op=pull-out|from=800m|to=900m", "from and to changed over?"},
        {"work", AT "op=drilling|from=900m|to=910m|reams=11",
                "field reams: 11 is out of range"},
        {"work", AT "op=round-trip|depth=25km",
                "field depth: '25km' is out of range; allowed is 0 to 20 km"},
        {"work", AT "op=round-trip|depth=90m|pipe=0.5lb/ft",
                "field pipe: '0.5lb/ft' is out of range"},
        {"work", AT "op=round-trip|depth=90m|mud=9.6", "field mud: '9.6' has no unit"},
        {"work", AT "op=round-trip|depth=90m|mud=40ppg", "field mud: '40ppg' is out of range"},
        {"work", AT "op=counted|begin=2026-03-01T02:00Z|end=2026-03-01T01:00Z|ton-miles=3",
                "field end: '2026-03-01T01:00:00Z' is before begin"},
        {"cut", AT "length=30m|reason=other", "field note: required when reason is other"},
        {"cut", AT "length=30m|reason=planned",
                "write one of goal planned-casing planned-shoe"},
        {"cut", AT "length=30m|reason=goal|because=12", "there is no entry 12 in this log"},
        {"cut", AT "length=30m|reason=goal|because=x", "field because: an entry is named"},
        {"cut", AT "length=30m|reason=goal|because={\"index\":1}",
                "field because: an entry is named"},
        {"countersign", AT "entry=3|signer=x|sig=AAAA",
                "field sig: 3 bytes in base64; 64 to 64"},
        {"countersign", AT "entry=3|signer=x|sig=*", "field sig: not base64"},
        {"instruction", AT "bytes=aGVsbG9=|sig=" SIG,
                "field bytes: not base64 with its padding"},
        {"adverse", AT "what=other|state=begins|derate=120%",
                "field derate: '120%' is out of range; allowed is 0 to 100 %"},
        {"adverse", AT "what=other|state=begins|derate=0", "must be above zero"},
        {"program", AT "cut=90ft|first-goal=90ft|later-goal=1",
                "is a length, a work is wanted"},
        {"amend", AT "entry=5|reason=x", "field set: required by kind amend (or void=yes)"},
        {"amend", AT "entry=5|reason=x|void=yes|set={\"depth\":\"1m\"}", "not both"},
        {"amend", AT "entry=5|reason=x|void=no", "field void: 'no' is not known"},
        {"amend", AT "entry=5|reason=x|set={\"kind\":\"cut\"}",
                "field set: kind: an amendment cannot change it"},
        {"amend", AT "entry=5|reason=x|set={\"dept\":\"1m\"}",
                "field set: dept: no kind has such a field; did you mean depth?"},
        {"amend", AT "entry=5|reason=x|set={\"depth\":\"1\"}",
                "field set: depth: '1' has no unit"},
        {"amend", AT "entry=5|reason=x|set={}", "field set: an object"},
        {"renewal", AT "from={\"origin\":\"a\",\"size\":1}|why=x",
                "field from: root: required"},
};

static void
faults_name_field_found_and_allowed(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof(faults) / sizeof(faults[0]); i++)
        assert_refused(faults[i][0], faults[i][1], faults[i][2]);
}

static void
times_are_kept_in_utc_and_bounded(void **state)
{
    (void)state;
    /* The rig's zone is one hour east. */
    assert_typed("turn", "at=2026-03-01 01:00|by=x|reel=R",
            AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":1}");
    assert_typed("turn", "at=2026-02-28T20:30:00-03:30|by=x|reel=R",
            AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":1}");
    assert_typed("turn", "at=2026-03-02T12:00:00Z|by=x|reel=R", NULL);
    assert_refused("turn", "at=2026-03-02T12:00:01Z|by=x|reel=R",
            "field at: 2026-03-02T12:00:01Z is more than 24 h after the present known here "
            "(2026-03-01T12:00:00Z)");
    assert_typed("turn", "at=1990-01-01T00:00:00Z|by=x|reel=R", NULL);
    assert_refused("turn", "at=1989-12-31T23:59:59Z|by=x|reel=R", "is before 1990-01-01");
    assert_refused("turn", "at=yesterday|by=x|reel=R", "field at: ");
    assert_refused("turn", "at=2026-02-30T00:00:00Z|by=x|reel=R", "field at: ");
}

static void
a_time_without_offset_needs_the_zone(void **state)
{
    struct fsp_check_context bare = {NULL, PRESENT_S, NULL, NULL};
    struct fsp_typed members[] = {
            {"at", "2026-03-01T00:00"}, {"by", "x"}, {"entry", "5"}, {"answer", "y"}};
    struct fsp_record *record = NULL;
    struct fsp_err err;

    (void)state;
    assert_int_equal(fsp_check_typed("done", members, 4, &bare, &record, &err), FSP_EFORMAT);
    members[0].value = "2026-03-01T00:00Z";
    assert_int_equal(fsp_check_typed("done", members, 4, &bare, &record, &err), FSP_EFORMAT);
    assert_non_null(strstr(err.text, "entry 5 cannot be looked up here"));
}

static void
an_entry_typed_as_a_number_is_named_in_full(void **state)
{
    (void)state;
    assert_typed("done", AT "entry=5|answer=y",
            "{\"answer\":\"y\",\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"clerk\","
            "\"entry\":" ENTRY ",\"kind\":\"done\",\"v\":1}");
}

static void
words_are_taken_in_any_case_and_kept_in_the_tables(void **state)
{
    (void)state;
    assert_typed("state", AT "state=Moving",
            AT_OUT "\"by\":\"clerk\",\"kind\":\"state\",\"state\":\"moving\",\"v\":1}");
}

static void
a_record_over_the_size_is_refused(void **state)
{
    char *line = malloc(32000);
    size_t len;

    (void)state;
    assert_non_null(line);
    len = (size_t)snprintf(line, 32000, AT "length=3m|checks=[");
    for (int i = 0; i < 150; i++)
        len += (size_t)snprintf(line + len, 32000 - len,
                "%s{\"item\":\"%0100d\",\"result\":\"good\"}", i > 0 ? "," : "", i);
    (void)snprintf(line + len, 32000 - len, "]");
    assert_refused("slip", line, "");
    free(line);
}

static enum fsp_rc
json(const char *text, struct fsp_record **out, struct fsp_err *err)
{
    return fsp_check_json(text, strlen(text), &context, out, err);
}

static void
json_objects_are_checked_like_typed_members(void **state)
{
    struct fsp_record *record = NULL;
    struct fsp_err err = {FSP_OK, 0, ""};

    (void)state;
    assert_ok(json("{\"kind\":\"string-up\", "
                   "\"at\":\"2026-03-01T00:00:00+00:00\",\"by\":\"clerk\","
                   "\"lines\":10, \"row\":\"3\", \"note\":\"\"}",
                      &record, &err),
            &err);
    assert_record(record,
            AT_OUT "\"by\":\"clerk\",\"kind\":\"string-up\",\"lines\":10,\"row\":3,"
                   "\"v\":1}");
}

static void
json_faults_are_told_one_by_one(void **state)
{
#define HEAD "{\"kind\":\"slip\",\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"x\","
    static const char *const rows[][2] = {
            {"", "not JSON"},
            {"[]", "one JSON object"},
            {"{}", "field kind: required"},
            {"{\"kind\":3}", "field kind: required"},
            {HEAD "\"length\":30}", "field length: write it as text in quotes, with its unit"},
            {HEAD "\"length\":30.5}", "field length: a number with decimals"},
            {HEAD "\"length\":null}", "field length: null"},
            {HEAD "\"length\":true}", "field length: text in quotes"},
            {HEAD "\"length\":[]}", "field length: text in quotes"},
            {HEAD "\"length\":\"3m\",\"laps\":3}", "field laps: write it as text in quotes"},
            {HEAD "\"length\":\"3m\",\"checks\":\"x\"}", "field checks: a list"},
            {HEAD "\"length\":\"3m\",\"length\":\"3m\"}", "not JSON"},
            {HEAD "\"length\":\"3m\",\"noted\":\"2026-03-01T00:00:00Z\"}",
                    "field noted: set by"},
            {HEAD "\"length\":\"3m\",\"lenght\":\"\"}", "field lenght: not known"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_record *record = NULL;
        struct fsp_err err = {FSP_OK, 0, ""};

        assert_int_equal(json(rows[i][0], &record, &err), FSP_EFORMAT);
        if (strstr(err.text, rows[i][1]) == NULL)
            fail_msg("%s: %s", rows[i][0], err.text);
        assert_null(record);
    }
}

static void
stored_bytes_must_be_canonical_and_known(void **state)
{
    static const char *const rows[][2] = {
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":1}\n", "canonical"},
            {AT_OUT " \"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":1}", "canonical"},
            {"{\"by\":\"x\",\"at\":\"2026-03-01T00:00:00Z\",\"kind\":\"turn\",\"reel\":\"R\","
             "\"v\":1}",
                    "canonical"},
            {AT_OUT "\"by\":\"\\u0078\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":1}",
                    "canonical"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":-0}", "canonical"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"twist\",\"reel\":\"R\",\"v\":1}",
                    "field kind: 'twist'"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\"}", "field v: required"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"v\":2}", "field v: 2"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":7,\"v\":1}", "field reel: text"},
            {AT_OUT "\"by\":\"x\",\"kind\":\"turn\",\"reel\":\"R\",\"row\":\"1\",\"v\":1}",
                    "field row: a whole number"},
            {"{\"at\":\"2026-03-01T00:00:00+00:00\",\"by\":\"x\",\"kind\":\"turn\",\"reel\":"
             "\"R\","
             "\"v\":1}",
                    "field at: '2026-03-01T00:00:00+00:00' is not a time"},
            {"{\"answer\":\"y\",\"at\":\"2026-03-01T00:00:00Z\",\"by\":\"x\",\"entry\":5,"
             "\"kind\":"
             "\"done\",\"v\":1}",
                    "field entry: an entry is named"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct fsp_record *record = NULL;
        struct fsp_err err = {FSP_OK, 0, ""};

        assert_int_equal(fsp_check_stored((const uint8_t *)rows[i][0], strlen(rows[i][0]),
                                 &record, &err),
                FSP_EFORMAT);
        if (strstr(err.text, rows[i][1]) == NULL)
            fail_msg("%s: %s", rows[i][0], err.text);
        assert_null(record);
    }
}

static void
stored_records_carry_what_the_agent_added(void **state)
{
    static const char text[] =
            AT_OUT "\"by\":\"x\",\"depth\":\"4000ft\",\"factor\":\"3.90\",\"kind\":\"work\","
                   "\"noted\":\"2001-01-01T00:00:07Z\",\"op\":\"round-trip\",\"rules\":\"1\","
                   "\"ton-miles\":\"53.70\",\"v\":1}";
    struct fsp_record *record = NULL;
    struct fsp_err err;

    (void)state;
    assert_ok(fsp_check_stored((const uint8_t *)text, strlen(text), &record, &err), &err);
    fsp_record_free(record);
}

int
main(void)
{
    const struct CMUnitTest tests[] = {
            cmocka_unit_test(typed_members_become_canonical_bytes),
            cmocka_unit_test(kinds_of_all_sorts_are_taken),
            cmocka_unit_test(faults_name_field_found_and_allowed),
            cmocka_unit_test(times_are_kept_in_utc_and_bounded),
            cmocka_unit_test(a_time_without_offset_needs_the_zone),
            cmocka_unit_test(an_entry_typed_as_a_number_is_named_in_full),
            cmocka_unit_test(words_are_taken_in_any_case_and_kept_in_the_tables),
            cmocka_unit_test(a_record_over_the_size_is_refused),
            cmocka_unit_test(json_objects_are_checked_like_typed_members),
            cmocka_unit_test(json_faults_are_told_one_by_one),
            cmocka_unit_test(stored_bytes_must_be_canonical_and_known),
            cmocka_unit_test(stored_records_carry_what_the_agent_added),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
