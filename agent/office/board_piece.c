/* The pieces that pages are put together from: states, flags, tables, plots. */
#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "line/rope.h"
#include "line/say.h"
#include "office/board_priv.h"

#define DASH "\xe2\x80\x93"

/* --- small ones ------------------------------------------------------------------------------ */

void
fsp_board_section(struct fsp_html *html, const char *id, const char *title)
{
    fsp_html_open(html, "h2");
    fsp_html_attr(html, "id", id);
    fsp_html_text(html, title);
    fsp_html_close(html);
}

void
fsp_board_link(struct fsp_html *html, const char *text, const char *href)
{
    fsp_html_open(html, "a");
    fsp_html_attr(html, "href", href);
    fsp_html_text(html, text);
    fsp_html_close(html);
}

void
fsp_board_para(struct fsp_html *html, const char *fmt, ...)
{
    char line[1024];
    va_list args;

    va_start(args, fmt);
    (void)vsnprintf(line, sizeof(line), fmt, args);
    va_end(args);
    fsp_html_element(html, "p", NULL, line);
}

void
fsp_board_time(struct fsp_html *html, int64_t utc_s)
{
    char text[FSP_TIME_TEXT_LEN + 1];

    if (utc_s == 0) {
        fsp_html_text(html, "never");
        return;
    }
    fsp_time_text(utc_s, text);
    fsp_html_open(html, "time");
    fsp_html_attr(html, "datetime", text);
    text[10] = ' ';
    fsp_html_text_n(html, text, 16);
    fsp_html_close(html);
}

void
fsp_board_age(int64_t seconds, struct fsp_buf *buf)
{
    if (seconds < 0)
        seconds = 0;
    if (seconds < 120)
        fsp_buf_printf(buf, "%lld s", (long long)seconds);
    else if (seconds < 7200)
        fsp_buf_printf(buf, "%lld min", (long long)(seconds / 60));
    else if (seconds < 2 * FSP_S_PER_DAY)
        fsp_buf_printf(buf, "%lld h", (long long)(seconds / 3600));
    else
        fsp_buf_printf(buf, "%lld days", (long long)(seconds / FSP_S_PER_DAY));
}

const char *
fsp_board_due_class(enum fsp_due due)
{
    switch (due) {
    case FSP_DUE_OUT_OF_SERVICE:
    case FSP_DUE_OVERDUE:
        return "state stop";
    case FSP_DUE_NOW:
    case FSP_DUE_SOON:
        return "state warn";
    case FSP_DUE_NOT_YET:
        return "state good";
    case FSP_DUE_UNKNOWN:
        break;
    }
    return "state plain";
}

const char *
fsp_board_sig_class(enum fsp_sig_state sig)
{
    switch (sig) {
    case FSP_SIG_GOOD:
        return "state good";
    case FSP_SIG_BAD:
        return "state stop";
    case FSP_SIG_OFF_ROSTER:
    case FSP_SIG_OUT_OF_DATE:
        return "state warn";
    case FSP_SIG_NONE:
        break;
    }
    return "state plain";
}

void
fsp_board_due(struct fsp_html *html, enum fsp_due due, const char *why)
{
    fsp_html_element(html, "span", fsp_board_due_class(due), fsp_due_text(due));
    if (why != NULL && why[0] != '\0')
        fsp_html_element(html, "span", "why", why);
}

void
fsp_board_sig(struct fsp_html *html, enum fsp_sig_state sig)
{
    fsp_html_element(html, "span", fsp_board_sig_class(sig), fsp_sig_state_text(sig));
}

void
fsp_board_rope(double rope_m, const char *grade, struct fsp_buf *buf)
{
    const struct fsp_rope_size *size = fsp_rope_size_find(rope_m);

    if (size != NULL) {
        fsp_buf_printf(buf, "%s in", size->name);
    } else {
        fsp_say_number(buf, rope_m * 1000.0, 1);
        fsp_buf_add_text(buf, " mm");
    }
    if (grade != NULL)
        fsp_buf_printf(buf, " %.40s%s", grade,
                grade[0] >= '0' && grade[0] <= '9' ? " N/mm\xc2\xb2" : "");
}

static void
bar(struct fsp_html *html, double percent)
{
    char value[16];
    const int tenths = percent >= 100.0 ? 1000 : percent > 0.0 ? (int)(10.0 * percent) : 0;

    (void)snprintf(value, sizeof(value), "%d.%d", tenths / 10, tenths % 10);
    fsp_html_open(html, "progress");
    fsp_html_attr(html, "class", percent > 100.0 ? "bar full" : "bar");
    fsp_html_attr(html, "max", "100");
    fsp_html_attr(html, "value", value);
    fsp_html_attr(html, "aria-hidden", "true");
    fsp_html_close(html);
}

void
fsp_board_served(struct fsp_html *html, const struct fsp_ledger_view *view)
{
    struct fsp_buf text;

    if (view->reel == NULL) {
        fsp_html_text(html, "no line is hung");
        return;
    }
    fsp_buf_init(&text, 128);
    if (view->goal_j > 0.0) {
        fsp_say_number(&text, 100.0 * view->served_j / view->goal_j, 1);
        fsp_buf_add_text(&text, " %");
        fsp_html_text(html, fsp_buf_peek(&text));
        bar(html, 100.0 * view->served_j / view->goal_j);
        fsp_buf_reset(&text);
        fsp_say_number(&text, view->served_j / FSP_TON_MILE_J, 0);
        fsp_buf_add_text(&text, " of ");
        fsp_say_number(&text, view->goal_j / FSP_TON_MILE_J, 0);
        fsp_buf_add_text(&text, " ton-miles");
    } else {
        fsp_html_text(html, "no goal");
        fsp_say_number(&text, view->served_j / FSP_TON_MILE_J, 0);
        fsp_buf_add_text(&text, " ton-miles counted");
    }
    fsp_html_element(html, "span", "why", fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

/* --- flags ----------------------------------------------------------------------------------- */

static const char *
weight_class(const struct fsp_flag *flag)
{
    if (flag->acknowledged)
        return "state plain";
    switch (flag->weight) {
    case FSP_FLAG_STOP:
        return "state stop";
    case FSP_FLAG_WARN:
        return "state warn";
    case FSP_FLAG_TELL:
        break;
    }
    return "state plain";
}

void
fsp_board_flag(struct fsp_html *html, const struct fsp_flag *flag)
{
    fsp_html_element(html, "span", weight_class(flag), fsp_flag_kind_text(flag->kind));
    fsp_html_element(html, "span", "why", flag->text);
    if (!flag->acknowledged)
        return;
    fsp_html_open(html, "span");
    fsp_html_attr(html, "class", "why");
    fsp_html_text(html, "Looked at by ");
    fsp_html_text(html, flag->acknowledged_by);
    fsp_html_text(html, ": ");
    fsp_html_text(html, flag->note);
    fsp_html_close(html);
}

size_t
fsp_board_flag_list(const struct fsp_board_page *page, const struct fsp_fleet_rig *rig,
        struct fsp_flag out[static FSP_FLAGS_MAX])
{
    const size_t n = rig->n_flags < FSP_FLAGS_MAX ? rig->n_flags : FSP_FLAGS_MAX;

    if (n == 0)
        return 0;
    memcpy(out, rig->flags, n * sizeof(out[0]));
    if (page->desk != NULL &&
            fsp_flags_acknowledged(page->desk, rig->name, out, n, NULL) != FSP_OK)
        memcpy(out, rig->flags, n * sizeof(out[0])); /* as if nobody had looked */
    return n;
}

void
fsp_board_rig_flags(struct fsp_html *html, const struct fsp_board_page *page,
        const struct fsp_fleet_rig *rig)
{
    struct fsp_flag flags[FSP_FLAGS_MAX];
    const size_t n = fsp_board_flag_list(page, rig, flags);

    if (rig->n_logs == 0)
        fsp_html_element(html, "span", "state plain", "invited, never heard");
    if (n == 0)
        return;
    fsp_html_open(html, "ul");
    for (size_t i = 0; i < n; i++) {
        fsp_html_open(html, "li");
        fsp_board_flag(html, &flags[i]);
        fsp_html_close(html);
    }
    fsp_html_close(html);
}

/* --- addresses ------------------------------------------------------------------------------- */

void
fsp_board_rig_href(const char *rig, char out[static FSP_BOARD_LINK_MAX])
{
    (void)snprintf(out, FSP_BOARD_LINK_MAX, "/rig?name=%.128s", rig);
}

void
fsp_board_entry_href(
        const char *rig, uint32_t log, uint64_t index, char out[static FSP_BOARD_LINK_MAX])
{
    (void)snprintf(out, FSP_BOARD_LINK_MAX, "/entry?rig=%.128s&log=%lu&n=%llu", rig,
            (unsigned long)log, (unsigned long long)index);
}

void
fsp_board_query(struct fsp_buf *buf, const char *name, const char *value)
{
    static const char same[] =
            "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";

    if (value == NULL || value[0] == '\0')
        return;
    fsp_buf_printf(buf, "&%s=", name);
    for (; *value != '\0'; value++) {
        if (strchr(same, *value) != NULL)
            fsp_buf_add_byte(buf, (uint8_t)*value);
        else
            fsp_buf_printf(buf, "%%%02X", (unsigned)(unsigned char)*value);
    }
}

void
fsp_board_prove(
        struct fsp_html *html, const struct fsp_fleet_rig *rig, uint32_t log, uint64_t index)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 1024);
    fsp_buf_printf(
            &text, "farspool-office prove %s %llu", rig->name, (unsigned long long)index);
    if (log + 1 < rig->n_logs) /* the current one need not be named */
        fsp_buf_printf(&text, " --log %s", rig->logs[log].log.origin);
    fsp_buf_add_text(&text, " --out FOLDER");
    fsp_html_element(html, "code", NULL, fsp_buf_peek(&text));
    fsp_buf_fini(&text);
}

/* --- tables ---------------------------------------------------------------------------------- */

void
fsp_board_table_begin(struct fsp_board_table *table, struct fsp_html *html, const char *caption,
        const struct fsp_board_column *columns, size_t n)
{
    table->html = html;
    table->columns = columns;
    table->n = n;
    table->at = 0;
    fsp_html_open(html, "div");
    fsp_html_attr(html, "class",
            table->cards  ? "scroll cards"
            : table->many ? "scroll long"
                          : "scroll");
    fsp_html_attr(html, "tabindex", "0");
    fsp_html_attr(html, "role", "region");
    fsp_html_attr(html, "aria-label", caption);
    fsp_html_open(html, "table");
    if (table->id != NULL)
        fsp_html_attr(html, "id", table->id);
    fsp_html_element(html, "caption", NULL, caption);
    fsp_html_open(html, "thead");
    fsp_html_open(html, "tr");
    for (size_t i = 0; i < n; i++) {
        fsp_html_open(html, "th");
        fsp_html_attr(html, "scope", "col");
        if (columns[i].class_name != NULL)
            fsp_html_attr(html, "class", columns[i].class_name);
        fsp_html_text(html, columns[i].title);
        fsp_html_close(html);
    }
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_open(html, "tbody");
}

void
fsp_board_table_end(struct fsp_board_table *table)
{
    fsp_html_close(table->html); /* tbody */
    fsp_html_close(table->html);
    fsp_html_close(table->html);
}

void
fsp_board_row(struct fsp_board_table *table)
{
    fsp_html_open(table->html, "tr");
    table->at = 0;
}

void
fsp_board_row_end(struct fsp_board_table *table)
{
    assert(table->at == table->n);
    fsp_html_close(table->html);
}

void
fsp_board_cell_begin(struct fsp_board_table *table)
{
    const struct fsp_board_column *column = &table->columns[table->at];

    assert(table->at < table->n);
    fsp_html_open(table->html, table->at == 0 ? "th" : "td");
    if (table->at == 0)
        fsp_html_attr(table->html, "scope", "row");
    else if (table->cards)
        fsp_html_attr(table->html, "data-label", column->title);
    if (column->class_name != NULL)
        fsp_html_attr(table->html, "class", column->class_name);
    table->at++;
}

void
fsp_board_cell_end(struct fsp_board_table *table)
{
    fsp_html_close(table->html);
}

void
fsp_board_cell(struct fsp_board_table *table, const char *text)
{
    fsp_board_cell_begin(table);
    fsp_html_text(table->html, text == NULL || text[0] == '\0' ? DASH : text);
    fsp_board_cell_end(table);
}

void
fsp_board_cell_link(struct fsp_board_table *table, const char *text, const char *href)
{
    fsp_board_cell_begin(table);
    fsp_board_link(table->html, text == NULL || text[0] == '\0' ? "?" : text, href);
    fsp_board_cell_end(table);
}

void
fsp_board_cell_number(
        struct fsp_board_table *table, bool known, double value, int decimals, const char *href)
{
    struct fsp_buf text;

    fsp_buf_init(&text, 64);
    if (known)
        fsp_say_number(&text, value, decimals);
    else
        fsp_buf_add_text(&text, DASH);
    fsp_board_cell_begin(table);
    if (href != NULL && known)
        fsp_board_link(table->html, fsp_buf_peek(&text), href);
    else
        fsp_html_text(table->html, fsp_buf_peek(&text));
    fsp_board_cell_end(table);
    fsp_buf_fini(&text);
}

void
fsp_board_cell_time(struct fsp_board_table *table, int64_t utc_s, const char *href)
{
    fsp_board_cell_begin(table);
    if (href != NULL) {
        fsp_html_open(table->html, "a");
        fsp_html_attr(table->html, "href", href);
    }
    fsp_board_time(table->html, utc_s);
    if (href != NULL)
        fsp_html_close(table->html);
    fsp_board_cell_end(table);
}

/* --- plots ----------------------------------------------------------------------------------- */

void
fsp_board_plot(struct fsp_html *html, const struct fsp_board_plot *plot)
{
    fsp_html_open(html, "figure");
    fsp_html_attr(html, "class", "plot");
    fsp_html_attr(html, "hidden", ""); /* until a script draws it */
    fsp_html_attr(html, "data-plot", plot->kind);
    fsp_html_attr(html, "data-table", plot->table);
    fsp_html_attr(html, "data-x-title", plot->x_title);
    fsp_html_attr(html, "data-y-title", plot->y_title);
    fsp_html_open(html, "div");
    fsp_html_open(html, "canvas");
    fsp_html_attr(html, "role", "img");
    fsp_html_attr(html, "aria-label", plot->label);
    fsp_html_close(html);
    fsp_html_close(html);
    fsp_html_element(html, "figcaption", NULL, plot->label);
    fsp_html_close(html);
}

void
fsp_board_point(
        struct fsp_board_table *table, const char *series, double x, double y, const char *name)
{
    char text[40];

    fsp_html_attr(table->html, "data-series", series);
    (void)snprintf(text, sizeof(text), "%.10g", x);
    fsp_html_attr(table->html, "data-x", text);
    (void)snprintf(text, sizeof(text), "%.10g", y);
    fsp_html_attr(table->html, "data-y", text);
    if (name != NULL)
        fsp_html_attr(table->html, "data-name", name);
}

void
fsp_board_goal(struct fsp_board_table *table, double goal)
{
    char text[40];

    (void)snprintf(text, sizeof(text), "%.10g", goal);
    fsp_html_attr(table->html, "data-goal", text);
}
