#include "bench/rows.h"

#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "base/mem.h"
#include "bench/bench.h"
#include "proof/instruction.h"
#include "proof/note.h"
#include "proof/roster.h"
#include "proof/signer.h"

#define OPENING 5 /* rows before the days begin */

void
rows_init(struct rows *rows, const char *rig, const struct fsp_skey *office)
{
    char name[FSP_KEY_NAME_MAX + 1];
    struct fsp_err err = {.rc = FSP_OK};

    rows->rig = rig;
    rows->office = office;
    bench_must(fsp_signer_key_name(ROWS_FLEET, "k-ode", name, &err), &err);
    bench_must(
            fsp_skey_new(&rows->inspector, name, FSP_KEY_NOTE, fsp_env_system(), &err), &err);
}

void
rows_fini(struct rows *rows)
{
    fsp_skey_free(rows->inspector);
}

/* Members stand in the order of RFC 8785; `before` those that sort before "kind". */
static void
put(struct fsp_buf *out, int64_t at_s, const char *before, const char *kind, const char *after)
{
    char at[FSP_TIME_TEXT_LEN + 1];

    fsp_time_text(at_s, at);
    fsp_buf_printf(out, "{\"at\":\"%s\",%s\"kind\":\"%s\",%s\"v\":1}", at, before, kind, after);
}

static void
opening(const struct rows *rows, size_t i, struct fsp_buf *out)
{
    static const char *const heads[] = {
            ("\"bearing\":\"roller\",\"block\":\"47000lb\",\"by\":\"clerk\",\"drive\":\"top-"
             "drive\",\"drum\":\"30in\","),
            "\"by\":\"clerk\",\"grade\":\"EIPS\",",
            "\"bha-length\":\"600ft\",\"bha-weight\":\"60000lb\",\"by\":\"clerk\",",
            "\"by\":\"clerk\",\"cut\":\"90ft\",\"first-goal\":\"1500\","};
    static const char *const kinds[] = {"rig", "reel", "drill-string", "program"};
    static const char *const tails[] = {"\"mast\":\"142ft\",",
            ("\"lines\":10,\"received\":\"16000ft\",\"reel\":\"R-1\",\"rope\":\"1-3/8in\","
             "\"strung\":\"1400ft\","),
            "\"mud\":\"10ppg\",\"pipe\":\"19.5lb/ft\",\"stand\":\"93ft\",",
            "\"later-goal\":\"1300\",\"slips\":3,"};

    (void)rows;
    put(out, ROWS_BEGIN_S + (int64_t)i * 60, heads[i], kinds[i], tails[i]);
}

/* The office's roster with the inspector. */
static void
roster(const struct rows *rows, struct fsp_buf *out)
{
    struct fsp_roster *list = fsp_mem_array(1, sizeof(*list));
    struct fsp_instruction instruction = {.made_s = ROWS_BEGIN_S, .about = FSP_ABOUT_ROSTER};
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_buf text;
    struct fsp_buf note;
    struct fsp_buf members;

    if (list == NULL)
        return;
    (void)snprintf(list->fleet, sizeof(list->fleet), "%s", ROWS_FLEET);
    list->version = 1;
    list->made_s = ROWS_BEGIN_S;
    list->n = 1;
    list->signer[0] = (struct fsp_roster_signer){.vkey = *fsp_skey_vkey(rows->inspector),
            .from_s = ROWS_BEGIN_S,
            .until_s = INT64_MAX,
            .may = FSP_MAY_INSPECT};
    fsp_buf_init(&text, FSP_NOTE_MAX);
    fsp_buf_init(&note, FSP_NOTE_MAX);
    fsp_buf_init(&members, FSP_ENTRY_MAX);
    fsp_roster_write(list, &text);
    bench_must(fsp_note_sign(&note, text.data, text.len, rows->office, &err), &err);
    (void)snprintf(instruction.fleet, sizeof(instruction.fleet), "%s", ROWS_FLEET);
    (void)snprintf(instruction.rig, sizeof(instruction.rig), "%s", rows->rig);
    instruction.body = fsp_buf_peek(&note);
    instruction.body_len = note.len;
    fsp_buf_reset(&text);
    fsp_instruction_write(&instruction, &text);
    bench_must(fsp_skey_sign(rows->office, text.data, text.len, sig, &err), &err);
    fsp_buf_add_text(&members, "\"by\":\"office\",\"bytes\":\"");
    fsp_base64(&members, text.data, text.len);
    fsp_buf_add_text(&members, "\",");
    fsp_buf_reset(&text);
    fsp_buf_add_text(&text, "\"sig\":\"");
    fsp_base64(&text, sig, sizeof(sig));
    fsp_buf_add_text(&text, "\",");
    put(out, ROWS_BEGIN_S + 240, fsp_buf_peek(&members), "instruction", fsp_buf_peek(&text));
    fsp_buf_fini(&members);
    fsp_buf_fini(&note);
    fsp_buf_fini(&text);
    fsp_roster_free(list);
}

static void
inspection(const struct rows *rows, int64_t at_s, struct fsp_buf *out)
{
    struct fsp_err err = {.rc = FSP_OK};
    uint8_t sig[FSP_SIG_LEN];
    struct fsp_buf message;
    struct fsp_buf after;
    int pass;

    fsp_buf_init(&message, FSP_ENTRY_MAX);
    fsp_buf_init(&after, FSP_ENTRY_MAX);
    for (pass = 0; pass < 2; pass++) { /* without its signature, then with it */
        fsp_buf_reset(out);
        fsp_buf_reset(&after);
        fsp_buf_printf(
                &after, "\"reel\":\"R-1\",\"rig\":\"%s\",\"scope\":\"tour\",", rows->rig);
        if (pass == 1) {
            fsp_buf_add_text(&after, "\"sig\":\"");
            fsp_base64(&after, sig, sizeof(sig));
            fsp_buf_add_text(&after, "\",");
        }
        put(out, at_s,
                "\"by\":\"k-ode\",\"decision\":\"run\",\"fleet\":\"" ROWS_FLEET
                "\",\"inspector\":\"k-ode\",",
                "inspection", fsp_buf_peek(&after));
        if (pass == 0) {
            bench_must(fsp_inspection_message(out->data, out->len, &message, &err), &err);
            bench_must(
                    fsp_skey_sign(rows->inspector, message.data, message.len, sig, &err), &err);
        }
    }
    fsp_buf_fini(&message);
    fsp_buf_fini(&after);
}

static void
day_row(const struct rows *rows, size_t i, struct fsp_buf *out)
{
    static const char *const work[][3] = {
            {"\"from\":\"0ft\",", "\"op\":\"run-in\",\"to\":\"9000ft\",", "work"},
            {"\"from\":\"9000ft\",", "\"op\":\"drilling\",\"to\":\"9090ft\",", "work"},
            {"\"from\":\"9090ft\",", "\"op\":\"drilling\",\"to\":\"9180ft\",", "work"},
            {"\"from\":\"9090ft\",", "\"op\":\"reaming\",\"to\":\"9180ft\",", "work"},
            {"\"from\":\"9000ft\",", "\"op\":\"short-trip\",\"to\":\"9180ft\",", "work"},
            {"\"complete\":\"yes\",", "\"tour\":\"day\",", "tour"},
            {"\"from\":\"9180ft\",", "\"op\":\"pull-out\",\"to\":\"0ft\",", "work"},
            {"\"item\":\"crown-saver\",", "\"result\":\"good\",", "check"},
            {"\"complete\":\"yes\",", "\"tour\":\"night\",", "tour"},
    };
    size_t slot = i % ROWS_PER_DAY;
    size_t day = i / ROWS_PER_DAY;
    int64_t at_s = ROWS_BEGIN_S + 86400 + (int64_t)i * 86400 / ROWS_PER_DAY;
    const char *const *row = work[slot % (sizeof(work) / sizeof(work[0]))];
    char before[80];

    if (slot == 18) {
        inspection(rows, at_s, out);
    } else if (slot == 19 && day % 7 == 6) {
        put(out, at_s, "\"by\":\"clerk\",", "cut",
                "\"length\":\"90ft\",\"reason\":\"goal\",\"slipped\":\"30ft\",");
    } else if (slot == 19 && day % 3 == 2) {
        put(out, at_s, "\"by\":\"clerk\",", "slip", "\"length\":\"30ft\",");
    } else {
        (void)snprintf(before, sizeof(before), "\"by\":\"clerk\",%s", row[0]);
        put(out, at_s, before, row[2], row[1]);
    }
}

void
rows_make(const struct rows *rows, size_t i, struct fsp_buf *out)
{
    fsp_buf_reset(out);
    if (i < OPENING - 1)
        opening(rows, i, out);
    else if (i == OPENING - 1)
        roster(rows, out);
    else
        day_row(rows, i - OPENING, out);
}
