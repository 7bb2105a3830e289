/* The fold in a stored state: field by field, written and read by the same walk. */
#include <limits.h>
#include <string.h>

#include "line/state_priv.h"

static void
walk_rig(struct fsp_archive *a, struct item_rig *rig)
{
    int drive = (int)rig->drive;

    fsp_state_double(a, &rig->mast_m);
    fsp_state_double(a, &rig->drum_m);
    fsp_state_double(a, &rig->block_n);
    fsp_state_double(a, &rig->stand_m);
    fsp_state_double(a, &rig->crown_m);
    fsp_state_double(a, &rig->block_low_m);
    fsp_state_double(a, &rig->pick_low_m);
    fsp_state_double(a, &rig->pick_high_m);
    fsp_state_double(a, &rig->sheave_m);
    fsp_state_double(a, &rig->fast_m);
    fsp_state_double(a, &rig->dead_m);
    fsp_state_double(a, &rig->laps_per_layer);
    fsp_state_double(a, &rig->wraps_low);
    fsp_state_int(a, &rig->crossovers, 1000000000);
    fsp_state_int(a, &rig->rolling, 1000000000);
    fsp_state_double(a, &rig->k);
    fsp_state_int(a, &drive, FSP_DRIVE_TOP);
    rig->drive = (enum fsp_drive)drive;
    fsp_state_bool(a, &rig->metric);
}

static void
walk_string(struct fsp_archive *a, struct item_string *string)
{
    fsp_state_double(a, &string->pipe_nm);
    fsp_state_double(a, &string->stand_m);
    fsp_state_double(a, &string->bha_n);
    fsp_state_double(a, &string->bha_m);
    fsp_state_double(a, &string->mud_kgm3);
}

/* A row of the table by its place, counted from 1. */
static void
walk_size_row(struct fsp_archive *a, const struct fsp_rope_size **size)
{
    size_t place = 0, i;

    for (i = 0; a->out != NULL && *size != NULL && fsp_rope_size_at(i) != NULL; i++) {
        if (fsp_rope_size_at(i) == *size)
            place = i + 1;
    }
    fsp_state_size(a, &place, 1000);
    if (a->out != NULL)
        return;
    *size = place == 0 ? NULL : fsp_rope_size_at(place - 1);
    a->bad = a->bad || (place != 0 && *size == NULL);
}

static void
walk_line(struct fsp_archive *a, struct line_state *line)
{
    int source = (int)line->rope.source;

    fsp_state_bool(a, &line->hung);
    fsp_state_text(a, &line->reel);
    fsp_state_text(a, &line->grade);
    fsp_state_text(a, &line->build);
    fsp_state_text(a, &line->rope_class);
    fsp_state_text(a, &line->core);
    fsp_state_double(a, &line->rope.diameter_m);
    fsp_state_double(a, &line->rope.strength_n);
    fsp_state_double(a, &line->rope.listed_n);
    fsp_state_double(a, &line->rope.linear_nm);
    fsp_state_int(a, &source, FSP_ROPE_CERTIFICATE);
    line->rope.source = (enum fsp_rope_source)source;
    walk_size_row(a, &line->rope.size);
    fsp_state_bool(a, &line->rope.over_listed);
    fsp_state_bool(a, &line->rope.matched_metric);
    fsp_state_double(a, &line->received_m);
    fsp_state_double(a, &line->strung_m);
    fsp_state_double(a, &line->drawn_m);
    fsp_state_double(a, &line->returned_m);
    fsp_state_double(a, &line->cropped_m);
    fsp_state_double(a, &line->slipped_m);
    fsp_state_double(a, &line->cut_m);
    fsp_state_double(a, &line->carried_cut_m);
    fsp_state_int(a, &line->lines, 1000000000);
    fsp_state_bool(a, &line->used);
    fsp_state_bool(a, &line->first_due);
    a->bad = a->bad || (a->out == NULL && line->hung && line->reel == NULL);
}

static void
walk_count(struct fsp_archive *a, struct count_state *count)
{
    fsp_state_double(a, &count->slip_j);
    fsp_state_double(a, &count->cut_j);
    fsp_state_double(a, &count->line_j);
    fsp_state_double(a, &count->check_j);
    fsp_state_double(a, &count->served_j);
    fsp_state_double(a, &count->served_slip_j);
    fsp_state_double(a, &count->min_factor);
    fsp_state_double(a, &count->slipped_m);
    fsp_state_bool(a, &count->incomplete);
    fsp_state_bool(a, &count->estimated_loads);
    fsp_state_bool(a, &count->derated);
    fsp_state_bool(a, &count->goal_changed);
    fsp_state_bool(a, &count->beyond_told);
    fsp_state_bool(a, &count->saw_hand);
    fsp_state_bool(a, &count->saw_counted);
    fsp_state_int(a, &count->slips, 1000000000);
    fsp_state_int(a, &count->below_minimum, 1000000000);
    fsp_state_double(a, &count->motion_j);
    fsp_state_double(a, &count->check_motion_j);
    fsp_state_i64(a, &count->gap_s);
    fsp_state_u32(a, &count->gap_log);
    fsp_state_u64(a, &count->gap_index);
}

static void
walk_program(struct fsp_archive *a, struct fold *fold)
{
    int basis = (int)fold->program.basis;
    size_t i;

    fsp_state_bool(a, &fold->has_program);
    fsp_state_double(a, &fold->program.cut_m);
    fsp_state_double(a, &fold->program.first_j);
    fsp_state_double(a, &fold->program.later_j);
    fsp_state_int(a, &fold->program.slips, 1000000000);
    fsp_state_bool(a, &fold->program.credit);
    fsp_state_int(a, &basis, BASIS_COUNTED);
    fold->program.basis = (enum basis)basis;
    fsp_state_u32(a, &fold->program_log);
    fsp_state_u64(a, &fold->program_index);
    fsp_state_size(a, &fold->curve.n, FSP_CURVE_MAX);
    for (i = 0; i < fold->curve.n; i++) {
        fsp_state_double(a, &fold->curve.factor[i]);
        fsp_state_double(a, &fold->curve.share[i]);
    }
}

static void
walk_finding(struct fsp_archive *a, struct finding *found)
{
    fsp_state_bool(a, &found->open);
    fsp_state_i64(a, &found->at_s);
    fsp_state_u64(a, &found->index);
    fsp_state_text(a, &found->inspector);
    fsp_state_text(a, &found->decision);
}

static void
walk_duties(struct fsp_archive *a, struct duty_state *duties)
{
    int i;

    for (i = 0; i < FSP_DUTY_EVENTS; i++) {
        fsp_state_bool(a, &duties->events[i].open);
        fsp_state_i64(a, &duties->events[i].since_s);
        fsp_state_u64(a, &duties->events[i].index);
    }
    fsp_state_i64(a, &duties->hung_s);
    fsp_state_i64(a, &duties->thorough_s);
    fsp_state_i64(a, &duties->active_s);
    fsp_state_i64(a, &duties->worked_s);
    fsp_state_i64(a, &duties->anchor_s);
    fsp_state_i64(a, &duties->anchor_due_s);
    fsp_state_i64(a, &duties->crown_s);
    fsp_state_i64(a, &duties->crown_owed_s);
    fsp_state_bool(a, &duties->baseline_owed);
    fsp_state_int(a, &duties->low, 1000000000);
    fsp_state_i64(a, &duties->low_s);
    fsp_state_u32(a, &duties->low_log);
    fsp_state_u64(a, &duties->low_index);
}

static void
walk_pace(struct fsp_archive *a, struct pace *pace)
{
    size_t i;

    fsp_state_bool(a, &pace->begun);
    fsp_state_bool(a, &pace->worked);
    fsp_state_i64(a, &pace->day);
    fsp_state_double(a, &pace->today_j);
    fsp_state_size(a, &pace->n, FSP_PACE_DAYS);
    for (i = 0; i < pace->n; i++)
        fsp_state_double(a, &pace->day_j[i]);
}

static void
walk_places(struct fsp_archive *a, struct places *places)
{
    size_t i;

    fsp_state_size(a, &places->n, FSP_CRITICAL_MOVES);
    for (i = 0; i < places->n; i++) {
        fsp_state_double(a, &places->at[i].anchor_m);
        fsp_state_double(a, &places->at[i].clamp_m);
        fsp_state_int(a, &places->at[i].lines, 1000000000);
    }
}

static void
walk_ratings(struct fsp_archive *a, struct fold *fold)
{
    size_t i;

    fsp_state_size(a, &fold->n_ratings, RATINGS_MAX);
    for (i = 0; i < fold->n_ratings; i++) {
        int part = (int)fold->ratings[i].part;

        fsp_state_int(a, &part, FSP_PARTS - 1);
        fold->ratings[i].part = (enum fsp_part)part;
        fsp_state_double(a, &fold->ratings[i].is.load_n);
        fsp_state_int(a, &fold->ratings[i].is.lines, 1000000000);
    }
    fsp_state_size(a, &fold->n_defects, DEFECTS_MAX);
    for (i = 0; i < fold->n_defects; i++) {
        fsp_state_i64(a, &fold->defects[i].at_s);
        fsp_state_u64(a, &fold->defects[i].index);
        fsp_state_text(a, &fold->defects[i].place);
        fsp_state_text(a, &fold->defects[i].what);
        fsp_state_text(a, &fold->defects[i].by_date);
        fsp_state_text(a, &fold->defects[i].by);
    }
}

void
fsp_state_fold(struct fsp_archive *a, struct fold *fold)
{
    uint64_t assumed = fold->assumed;
    int i;

    fsp_state_bool(a, &fold->has_rig);
    fsp_state_bool(a, &fold->has_string);
    walk_rig(a, &fold->rig);
    walk_string(a, &fold->string);
    walk_line(a, &fold->line);
    walk_count(a, &fold->count);
    walk_program(a, fold);
    for (i = 0; i < ADVERSE_SLOTS; i++) {
        fsp_state_bool(a, &fold->adverse[i].open);
        fsp_state_double(a, &fold->adverse[i].derate);
    }
    walk_finding(a, &fold->stop);
    walk_finding(a, &fold->slip_asked);
    walk_duties(a, &fold->duties);
    walk_pace(a, &fold->pace);
    walk_places(a, &fold->places);
    walk_ratings(a, fold);
    fsp_state_double(a, &fold->bit_m);
    fsp_state_bool(a, &fold->bit_known);
    fsp_state_bool(a, &fold->mixed_told);
    fsp_state_bool(a, &fold->changed);
    fsp_state_i64(a, &fold->changed_s);
    fsp_state_text(a, &fold->well);
    fsp_state_text(a, &fold->state);
    fsp_state_text(a, &fold->formation);
    fsp_state_u64(a, &assumed);
    fold->assumed = (unsigned)(assumed & UINT_MAX);
}
