#include "record/kind_priv.h"

/*
 * Bounds are sizes no rig exceeds: engineering choices of this project, to catch a wrong unit or
 * a slipped decimal point, not limits of a standard. Words and fields are the contract of
 * docs/records.md.
 */
#define R FSP_REQUIRED
#define P FSP_POSITIVE
#define C FSP_COMPUTED

#define LB_FT 14.5939029372063652 /* 1 lb/ft in N/m, NIST SP 811 B.8 */
#define MN    1e6                 /* N */

/* What the rows have in common; `range` is FROM() or one of the shared ranges below. */
#define FROM(lo, hi) .least = (lo), .most = (hi)
#define TEXT(n, f, s)                                                                          \
    {                                                                                          \
        .name = (n), .type = FSP_TEXT, .flags = (f), .says = (s)                               \
    }
#define LONG_TEXT(n, f, max, s)                                                                \
    {                                                                                          \
        .name = (n), .type = FSP_TEXT, .flags = (f), .most = (max), .says = (s)                \
    }
#define WORD(n, f, w, s)                                                                       \
    {                                                                                          \
        .name = (n), .type = FSP_WORD, .flags = (f), .words = (w), .says = (s)                 \
    }
#define COUNT(n, f, range, s)                                                                  \
    {                                                                                          \
        .name = (n), .type = FSP_COUNT, .flags = (f), range, .says = (s)                       \
    }
#define NUMBER(n, f, range, s)                                                                 \
    {                                                                                          \
        .name = (n), .type = FSP_NUMBER, .flags = (f), range, .says = (s)                      \
    }
#define LENGTH(n, f, range, s)                                                                 \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_LENGTH, .flags = (f), range,         \
        .says = (s)                                                                            \
    }
#define LOAD(n, f, range, s)                                                                   \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_LOAD, .flags = (f), range,           \
        .says = (s)                                                                            \
    }
#define DENSITY(n, f, range, s)                                                                \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_DENSITY, .flags = (f), range,        \
        .says = (s)                                                                            \
    }
#define SHARE(n, f, range, s)                                                                  \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_SHARE, .flags = (f), range,          \
        .says = (s)                                                                            \
    }
#define LINEAR(n, f, s)                                                                        \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_LINEAR, .flags = (f) | P,            \
        FROM(1.0 * LB_FT, 500.0 * LB_FT), .says = (s)                                          \
    }
#define WORK(n, f, s)                                                                          \
    {                                                                                          \
        .name = (n), .type = FSP_QUANTITY, .dim = FSP_DIM_WORK, .flags = (f), FROM(0.0, 1e13), \
        .says = (s)                                                                            \
    }
#define TIME(n, f, s)                                                                          \
    {                                                                                          \
        .name = (n), .type = FSP_TIME, .flags = (f), .says = (s)                               \
    }
#define ENTRY(n, f, s)                                                                         \
    {                                                                                          \
        .name = (n), .type = FSP_ENTRY, .flags = (f), .says = (s)                              \
    }
#define LIST(n, f, fields, s)                                                                  \
    {                                                                                          \
        .name = (n), .type = FSP_LIST, .flags = (f), .sub = (fields), .says = (s)              \
    }
#define BYTES(n, f, range, s)                                                                  \
    {                                                                                          \
        .name = (n), .type = FSP_BYTES, .flags = (f), range, .says = (s)                       \
    }
#define END                                                                                    \
    {                                                                                          \
        .name = NULL                                                                           \
    }

/* Ranges that several kinds share, SI. */
#define DEPTH_M     FROM(0.0, 20000.0)
#define LINE_M      FROM(0.0, 5000.0)
#define STAND_M     FROM(1.5, 46.0) /* 5 to 150 ft */
#define LOAD_N      FROM(0.0, 20.0 * MN)
#define ROPE_M      FROM(0.010, 0.080)
#define ROPE_WORN_M FROM(0.005, 0.090)
#define WRAPS       FROM(0.0, 200.0)
#define LAPS        FROM(0.0, 100.0)
#define ED25519_SIG FROM(64.0, 64.0)

const struct fsp_field fsp_table_common[] = {
        COUNT("v", R, FROM(1, 1), "version of the record's form, always 1"),
        TEXT("kind", R, "kind of the record"),
        TIME("at", R,
                "when it happened; for work, when it ended; with an offset, or in the rig's "
                "zone"),
        TEXT("by", R, "who says so"),
        LONG_TEXT("tour", 0, 40, "tour it belongs to"),
        COUNT("row", 0, FROM(0, 1000000), "row of the day sheet; orders what shares a minute"),
        LONG_TEXT("note", 0, 2000, "anything worth telling, in words"),
        TIME("noted", FSP_AGENT, "the agent's clock at appending"),
        END,
};

static const struct fsp_field sub_ratings[] = {
        WORD("part", R, "mast crown block hook top-drive drawworks anchor",
                "the part that is rated"),
        LOAD("load", R | P, LOAD_N, "its rating"),
        COUNT("lines", FSP_EVEN, FROM(2, 20), "number of lines the rating is stated for"),
        END,
};

static const struct fsp_field rig[] = {
        LENGTH("mast", R | P, FROM(10.0, 100.0), "height of the mast"),
        LENGTH("drum", R | P, FROM(0.2, 3.0), "diameter of the drum"),
        LOAD("block", R | P, FROM(0.0, 2.0 * MN),
                "weight of all that moves with the travelling block"),
        WORD("drum-at", 0, "groove bare", "where the drum's diameter is measured"),
        COUNT("crossovers", 0, FROM(1, 4), "crossovers of the drum in one lap"),
        NUMBER("laps-per-layer", P, FROM(1, 100), "laps in one layer of the drum"),
        NUMBER("wraps-low", 0, WRAPS, "wraps on the drum with the block at its lowest"),
        NUMBER("dead-wraps", 0, FROM(0, 30), "least dead wraps, by the drum's maker"),
        LENGTH("sheave", P, FROM(0.2, 3.0), "diameter of the sheaves"),
        WORD("bearing", 0, "roller plain", "bearings of the sheaves"),
        COUNT("rolling", 0, FROM(1, 20), "rolling sheaves between drum and dead line"),
        LENGTH("crown", P, FROM(5.0, 110.0), "crown sheaves above the floor"),
        LENGTH("fast-line", P, FROM(1.0, 200.0), "length of the fast line, drum to crown"),
        LENGTH("dead-line", P, FROM(1.0, 200.0), "length of the dead line, crown to anchor"),
        LENGTH("block-low", 0, FROM(0.0, 100.0),
                "block above the floor at its lowest; without it pick-low"),
        LENGTH("pick-low", 0, FROM(0.0, 100.0), "block above the floor, lower pick-up"),
        LENGTH("pick-high", 0, FROM(0.0, 100.0), "block above the floor, upper pick-up"),
        WORD("drive", 0, "kelly top-drive", "what turns the string"),
        LENGTH("stand", P, STAND_M, "length of a stand"),
        WORD("indicator", 0, "with-block without-block", "what the weight indicator shows"),
        {.name = "zone",
                .type = FSP_TEXT,
                .flags = FSP_ZONE,
                .says = "the rig's offset from UTC, as +01:00"},
        {.name = "tours",
                .type = FSP_TEXT,
                .flags = FSP_TOURS,
                .says = "when the tours begin, as 06:00 18:00"},
        LIST("ratings", 0, sub_ratings, "ratings of the rig's parts"),
        END,
};

static const struct fsp_field reel[] = {
        LONG_TEXT("reel", R, 60, "name of the reel"),
        LENGTH("rope", R | P | FSP_ROPE, ROPE_M, "nominal diameter of the rope, in or mm"),
        {.name = "grade",
                .type = FSP_TEXT,
                .flags = R | FSP_GRADE,
                .says = "IPS, EIPS, EEIPS, or the wires' strength in N/mm2 (1570 to 2160)"},
        LENGTH("received", R | P, LINE_M, "length of line on the reel as received"),
        LENGTH("strung", R | P, LINE_M, "length strung at first"),
        COUNT("lines", R | FSP_EVEN, FROM(2, 20), "number of lines strung"),
        TEXT("build", 0, "construction, as 6x19S IWRC"),
        TEXT("class", 0, "class, as 6x19"),
        TEXT("core", 0, "core, as IWRC"),
        TEXT("lay", 0, "lay, as right regular"),
        TEXT("certificate", 0, "number of the certificate"),
        LOAD("strength", P, FROM(1000.0, 20.0 * MN),
                "the certificate's minimum breaking force"),
        LOAD("test-break", P, FROM(1000.0, 20.0 * MN),
                "breaking force found in a test; kept apart, never used"),
        WORD("state", 0, "new used", "state of the line when hung"),
        TEXT("from-rig", 0, "rig that used it before"),
        WORK("carried-total", 0, "work of the line before it came here"),
        LENGTH("carried-cut", 0, LINE_M, "length cut from it before it came here"),
        WORK("carried-since-cut", 0, "work since its last cut before it came here"),
        WORK("carried-since-slip", 0, "work since its last slip before it came here"),
        LENGTH("slipped-since-cut", 0, LINE_M,
                "slipped since its last cut before it came here"),
        WORD("carried-basis", 0, "records estimate", "what those figures rest on"),
        LENGTH("baseline", P, ROPE_WORN_M, "diameter after first stretch"),
        END,
};

static const struct fsp_field unhang[] = {
        LONG_TEXT("reel", R, 60, "name of the reel"),
        LENGTH("left", 0, LINE_M, "length left"),
        LENGTH("scrapped", 0, LINE_M, "length scrapped"),
        LENGTH("stored", 0, LINE_M, "length put into store"),
        TEXT("to-rig", 0, "rig that gets it"),
        TEXT("reason", 0, "why it came off"),
        END,
};

static const struct fsp_field turn[] = {
        LONG_TEXT("reel", R, 60, "name of the reel"),
        END,
};

static const struct fsp_field string_up[] = {
        COUNT("lines", R | FSP_EVEN, FROM(2, 20), "number of lines from here on"),
        LENGTH("drawn", 0, LINE_M, "drawn onto the rig from the reel"),
        LENGTH("returned", 0, LINE_M, "returned to the reel"),
        LENGTH("cropped", 0, LINE_M, "cut off and scrapped in the change"),
        NUMBER("wraps-low", 0, WRAPS, "wraps on the drum with the block at its lowest"),
        END,
};

static const struct fsp_field well[] = {
        LONG_TEXT("well", R, 80, "name of the well"),
        WORD("formation", 0, "soft normal hard", "formation drilled"),
        TEXT("shape", 0, "shape of the well, as vertical, deviated, horizontal"),
        END,
};

static const struct fsp_field state[] = {
        WORD("state", R, "working moving stacked repair mast-raising",
                "what the rig does from here on"),
        END,
};

static const struct fsp_field tour[] = {
        LONG_TEXT("tour", R, 40, "the tour that ends"),
        WORD("complete", R, "yes no", "whether all its work is entered"),
        LENGTH("bit-depth", 0, DEPTH_M, "depth of the bit at its end"),
        LENGTH("hole-depth", 0, DEPTH_M, "depth of the hole at its end"),
        TEXT("driller", 0, "the driller"),
        END,
};

#define PIPE_SAYS  "weight of the drill pipe in air, with tool joints"
#define BHA_W_SAYS "weight of the bottom-hole assembly in air"
#define BHA_L_SAYS "length of the bottom-hole assembly"
#define MUD_SAYS   "density of the mud; air is right"
#define STAND_SAYS "length of a stand"

static const struct fsp_field drill_string[] = {
        LINEAR("pipe", R, PIPE_SAYS),
        LENGTH("stand", R | P, STAND_M, STAND_SAYS),
        LOAD("bha-weight", R, FROM(0.0, 5.0 * MN), BHA_W_SAYS "; 0 for an open-ended string"),
        LENGTH("bha-length", R, FROM(0.0, 2000.0), BHA_L_SAYS "; 0 for an open-ended string"),
        DENSITY("mud", R, FROM(0.0, 3500.0), MUD_SAYS),
        END,
};

static const struct fsp_field sub_sections[] = {
        LINEAR("casing", R, "weight of this section in air"),
        LENGTH("length", R | P, DEPTH_M, "length of this section"),
        END,
};

static const struct fsp_field work[] = {
        WORD("op", R,
                "pull-out run-in round-trip half-trip short-trip drilling reaming coring "
                "casing "
                "liner moves counted stated",
                "the operation"),
        LENGTH("from", 0, DEPTH_M, "measured depth of the bit at the start"),
        LENGTH("to", 0, DEPTH_M, "measured depth of the bit at the end"),
        LENGTH("depth", 0, DEPTH_M, "measured depth"),
        WORD("drive", 0, "kelly top-drive", "what turned the string"),
        COUNT("reams", 0, FROM(0, 10), "times each length was reamed"),
        COUNT("passes", 0, FROM(0, 10), "passes over the interval"),
        LINEAR("casing", 0, "weight of the casing in air"),
        LENGTH("joint", P, FROM(1.5, 50.0), "length of a joint of casing"),
        LIST("sections", 0, sub_sections, "sections of mixed weight, lowest first"),
        LENGTH("landing-string", 0, DEPTH_M, "length of drill pipe the casing is landed on"),
        LENGTH("liner-length", P, DEPTH_M, "length of the liner"),
        COUNT("count", P, FROM(1, 1000000), "number of block moves, up and down together one"),
        LENGTH("stroke", P, FROM(0.01, 50.0), "travel of the block in one move"),
        LOAD("up", 0, LOAD_N, "hook load going up, block included"),
        LOAD("down", 0, LOAD_N, "hook load going down, block included"),
        NUMBER("multiplier", P, FROM(0.0, 10.0),
                "the house's multiplier for jarring; 1 when not given (common practice)"),
        TIME("begin", 0, "begin of the counted time"),
        TIME("end", 0, "end of the counted time"),
        TEXT("source", 0, "what counted"),
        COUNT("gaps", 0, FROM(0, 1000000), "minutes of that time without data"),
        TEXT("basis", 0, "what the stated figure rests on"),
        LINEAR("pipe", 0, PIPE_SAYS),
        LENGTH("stand", P, STAND_M, STAND_SAYS),
        LOAD("bha-weight", 0, FROM(0.0, 5.0 * MN), BHA_W_SAYS),
        LENGTH("bha-length", 0, FROM(0.0, 2000.0), BHA_L_SAYS),
        DENSITY("mud", 0, FROM(0.0, 3500.0), MUD_SAYS),
        LOAD("hookload", P, LOAD_N, "usual highest hook load, block included"),
        LOAD("pull", P, LOAD_N, "highest pull seen, block included"),
        WORD("service", 0, "drilling casing stuck-pipe",
                "service the design factor is judged for"),
        WORD("when", 0, "before after",
                "before or after the slip or cut that shares its minute"),
        WORK("ton-miles", C,
                "work; an input of counted and stated only, else as shown on entry"),
        NUMBER("factor", C, FROM(0, 1000), "lowest design factor, as shown on entry"),
        TEXT("rules", C, "version of the rules, as shown on entry"),
        END,
};

static const struct fsp_field sub_checks[] = {
        TEXT("item", R, "what was checked"),
        TEXT("result", R, "what was found"),
        END,
};

static const struct fsp_field slip[] = {
        LENGTH("length", R | P, FROM(0.0, 500.0), "length slipped at the anchor"),
        NUMBER("laps", P, LAPS, "laps slipped"),
        NUMBER("dead-wraps", 0, FROM(0, 30), "dead wraps left on the drum"),
        LIST("checks", 0, sub_checks, "checks made after the job"),
        TEXT("supervisor", 0, "who led the job"),
        END,
};

static const struct fsp_field cut[] = {
        LENGTH("length", R | P, FROM(0.0, 500.0), "length cut at the drum"),
        WORD("reason", R,
                "goal planned-casing planned-shoe planned-move planned-section broken-wires "
                "diameter crossover kink crush corrosion shock spooling jarring low-dead-wraps "
                "extended reel-change other",
                "why it was cut; other needs a note"),
        NUMBER("laps", P, LAPS, "laps cut"),
        WORD("measured", 0, "tape laps", "how the length was measured"),
        LENGTH("slipped", 0, FROM(0.0, 500.0), "length slipped in the same job"),
        TEXT("place", 0, "where on the line the reason was found"),
        WORD("condition", 0, "wear-left normal worn-out", "condition of the line cut"),
        ENTRY("because", 0, "the inspection that led to it"),
        NUMBER("dead-wraps", 0, FROM(0, 30), "dead wraps left on the drum"),
        LIST("checks", 0, sub_checks, "checks made after the job"),
        TEXT("supervisor", 0, "who led the job"),
        END,
};

static const struct fsp_field check[] = {
        WORD("item", R, "crown-saver brake weight-indicator anchor drum-clamp block-position",
                "what was tested"),
        TEXT("result", R, "what was found"),
        TEXT("value", 0, "a reading, with its unit"),
        ENTRY("after", 0, "the entry it follows: a slip, a cut, an event"),
        END,
};

static const struct fsp_field sub_places[] = {
        TEXT("place", R, "place on the line, as crossover, fast-line sheave, anchor"),
        COUNT("broken-wires", 0, FROM(0, 1000), "broken wires in one lay"),
        COUNT("in-strand", 0, FROM(0, 1000), "of these, most in one strand"),
        COUNT("valley", 0, FROM(0, 1000), "valley breaks in one lay"),
        COUNT("at-end", 0, FROM(0, 1000), "broken wires at a clamp or the anchor"),
        SHARE("outer-wear", 0, FROM(0.0, 1.0), "share of the outer wires' diameter worn away"),
        LENGTH("d1", P, ROPE_WORN_M, "first diameter"),
        LENGTH("d2", P, ROPE_WORN_M, "second diameter"),
        LENGTH("d3", P, ROPE_WORN_M, "third diameter"),
        LENGTH("baseline", P, ROPE_WORN_M, "diameter after first stretch, here"),
        TEXT("corrosion", 0, "corrosion"),
        TEXT("distortion", 0, "kink, crushing, birdcage, other distortion"),
        TEXT("heat", 0, "marks of heat"),
        TEXT("lubrication", 0, "lubrication"),
        TEXT("groove", 0, "groove gauge"),
        END,
};

static const struct fsp_field sub_limits[] = {
        TEXT("what", R, "what is limited"),
        TEXT("limit", R, "the limit used"),
        TEXT("source", 0, "where the limit comes from"),
        END,
};

static const struct fsp_field sub_defects[] = {
        TEXT("place", R, "place on the line"),
        TEXT("what", R, "the defect"),
        TEXT("by-date", 0, "now, or the date it must be mended by"),
        TEXT("by", 0, "who mends it"),
        TEXT("closed", 0, "when and how it was closed"),
        END,
};

static const struct fsp_field inspection[] = {
        LONG_TEXT("fleet", R, 63, "name of the fleet"),
        LONG_TEXT("rig", R, 63, "name of the rig"),
        LONG_TEXT("reel", R, 60, "name of the reel"),
        TEXT("inspector", R, "who examined the line"),
        WORD("scope", R, "tour monthly slip-cut after-event before-use", "occasion and depth"),
        WORD("decision", R, "run watch slip cut out-of-service replace", "what is to be done"),
        LIST("places", 0, sub_places, "findings place by place"),
        TEXT("event", 0, "the event it follows"),
        TEXT("extent", 0, "how much of the line was seen"),
        LIST("limits", 0, sub_limits, "limits it was judged by"),
        LENGTH("cut-to", P, FROM(0.0, 500.0), "length the decision asks to cut"),
        LIST("defects", 0, sub_defects, "defects to be mended"),
        TEXT("qualification", 0, "the inspector's qualification"),
        TEXT("employer", 0, "the inspector's employer"),
        BYTES("sig", 0, ED25519_SIG, "the inspector's Ed25519 signature, base64"),
        END,
};

static const struct fsp_field countersign[] = {
        ENTRY("entry", R, "the entry agreed with"),
        TEXT("signer", R, "who agrees"),
        BYTES("sig", R, ED25519_SIG, "the signer's Ed25519 signature, base64"),
        END,
};

static const struct fsp_field adverse[] = {
        WORD("what", R, "bit-chatter deviation stuck-pipe jarring other",
                "what wears the line unmeasured"),
        WORD("state", R, "begins ends", "whether it begins or ends"),
        SHARE("derate", P, FROM(0.0, 1.0), "share of the goal that is left while it lasts"),
        END,
};

static const struct fsp_field sub_curve[] = {
        NUMBER("factor", R | P, FROM(1, 20), "design factor"),
        SHARE("share", R | P, FROM(0.0, 2.0), "service at that factor, 5 being 100 %"),
        END,
};

static const struct fsp_field program[] = {
        LENGTH("cut", R | P, FROM(1.0, 500.0), "length of a cut"),
        WORK("first-goal", R | P, "goal of the first cut of a new line"),
        WORK("later-goal", R | P, "goal of later cuts"),
        COUNT("slips", 0, FROM(1, 50), "slips between two cuts"),
        NUMBER("per-foot", P, FROM(0, 1000), "ton-miles for each foot cut"),
        LIST("curve", 0, sub_curve, "service against design factor"),
        WORD("credit-above", 0, "off on", "whether service above 100 % is credited"),
        LIST("limits", 0, sub_limits, "limits inspections are judged by"),
        WORD("basis", 0, "hand counted", "which count feeds the goal"),
        TEXT("approved", 0, "who approved it"),
        ENTRY("instruction", 0, "the instruction it comes from"),
        END,
};

static const struct fsp_field amend[] = {
        ENTRY("entry", R, "the entry that is corrected"),
        LONG_TEXT("reason", R, 500, "why"),
        {.name = "set",
                .type = FSP_OBJECT,
                .says = "the fields that change, with their new values; not kind"},
        WORD("void", 0, "yes", "the entry does not count"),
        END,
};

static const struct fsp_field sub_from[] = {
        LONG_TEXT("origin", R, 255, "origin of the old log"),
        COUNT("size", R, FROM(0, 9007199254740991.0), "its size"),
        BYTES("root", R, FROM(32, 32), "its root at that size, base64"),
        END,
};

static const struct fsp_field renewal[] = {
        {.name = "from",
                .type = FSP_OBJECT,
                .flags = R,
                .sub = sub_from,
                .says = "the log that is continued"},
        TEXT("why", R, "why a new log begins"),
        BYTES("proof", 0, ED25519_SIG,
                "the old key's signature over it and the new key, base64"),
        END,
};

static const struct fsp_field instruction[] = {
        BYTES("bytes", R, FROM(1, 11000), "the instruction's bytes, base64"),
        BYTES("sig", R, FROM(64, 256), "the office's signature, base64"),
        END,
};

static const struct fsp_field done[] = {
        ENTRY("entry", R, "the instruction"),
        LONG_TEXT("answer", R, 1000, "what was done"),
        END,
};

const struct fsp_kind fsp_table_kinds[] = {
        {"rig", "particulars of the rig", rig},
        {"reel", "a line is hung", reel},
        {"unhang", "the line comes off", unhang},
        {"turn", "the line is turned end for end", turn},
        {"string-up", "the number of lines changes", string_up},
        {"well", "where the rig is", well},
        {"state", "a state of the rig begins", state},
        {"tour", "a tour ends", tour},
        {"drill-string", "string and mud from here on", drill_string},
        {"work", "one operation", work},
        {"slip", "line is slipped at the anchor", slip},
        {"cut", "line is cut at the drum", cut},
        {"check", "a device or fixing is tested", check},
        {"inspection", "somebody examined the line", inspection},
        {"countersign", "a second person agrees", countersign},
        {"adverse", "wear that no count sees begins or ends", adverse},
        {"program", "goals and cut plan in force", program},
        {"amend", "an earlier entry is corrected", amend},
        {"renewal", "a new log continues an old one", renewal},
        {"instruction", "the office's word as received", instruction},
        {"done", "an instruction is answered", done},
};
const size_t fsp_table_kinds_n = sizeof(fsp_table_kinds) / sizeof(fsp_table_kinds[0]);

const struct fsp_op fsp_table_ops[] = {
        {"pull-out", "the string is pulled from one depth to a lesser one", "from to", ""},
        {"run-in", "the string is run from one depth to a greater one", "from to", ""},
        {"round-trip", "out of the hole and back", "depth", ""},
        {"half-trip", "out of the hole, or in, once", "depth", ""},
        {"short-trip", "between two depths and back, in either order", "from to", ""},
        {"drilling", "the hole is drilled", "from to", "drive reams"},
        {"reaming", "the hole is reamed", "from to", "passes"},
        {"coring", "a core is drilled", "from to", ""},
        {"casing", "casing is run", "depth casing joint", "sections landing-string"},
        {"liner", "a liner is run on drill pipe", "depth casing joint liner-length",
                "sections"},
        {"moves", "counted block moves: jarring, working, reciprocating pipe",
                "count stroke up down", "multiplier"},
        {"counted", "work counted by a sensor", "begin end ton-miles", "source gaps"},
        {"stated", "work as stated by somebody", "ton-miles basis", ""},
};
const size_t fsp_table_ops_n = sizeof(fsp_table_ops) / sizeof(fsp_table_ops[0]);
