/*
 * The desk's tables. Included by desk.c alone. A step is never edited once it has landed.
 */
#ifndef FSP_OFFICE_DESK_SQL_H
#define FSP_OFFICE_DESK_SQL_H

static const char desk_people_sql[] = "CREATE TABLE account("
                                      " name TEXT PRIMARY KEY,"
                                      " role TEXT NOT NULL,"
                                      " password TEXT NOT NULL,"
                                      " made_s INTEGER NOT NULL,"
                                      " closed_s INTEGER) STRICT, WITHOUT ROWID;"
                                      "CREATE TABLE session("
                                      " mark BLOB PRIMARY KEY CHECK(length(mark) = 32),"
                                      " account TEXT NOT NULL REFERENCES account(name),"
                                      " form BLOB NOT NULL CHECK(length(form) = 32),"
                                      " began_s INTEGER NOT NULL,"
                                      " seen_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
                                      "CREATE TABLE failure("
                                      " of TEXT PRIMARY KEY,"
                                      " times INTEGER NOT NULL,"
                                      " last_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
                                      "CREATE TABLE trail("
                                      " id INTEGER PRIMARY KEY AUTOINCREMENT,"
                                      " at_s INTEGER NOT NULL,"
                                      " by TEXT NOT NULL,"
                                      " did TEXT NOT NULL,"
                                      " what TEXT NOT NULL) STRICT;"
                                      "CREATE TRIGGER trail_keep BEFORE UPDATE ON trail BEGIN"
                                      " SELECT raise(ABORT, 'the trail is append-only'); END;"
                                      "CREATE TRIGGER trail_stay BEFORE DELETE ON trail BEGIN"
                                      " SELECT raise(ABORT, 'the trail is append-only'); END;";

/* An acknowledgement is kept for good; what was said of one mark before stays in the trail. */
static const char desk_flags_sql[] = "CREATE TABLE acknowledged("
                                     " rig TEXT NOT NULL,"
                                     " mark TEXT NOT NULL,"
                                     " by TEXT NOT NULL,"
                                     " at_s INTEGER NOT NULL,"
                                     " note TEXT NOT NULL,"
                                     " PRIMARY KEY(rig, mark)) STRICT, WITHOUT ROWID;";

/* Browsers that once logged in to an account: their tries are counted apart. */
static const char desk_browsers_sql[] =
        "CREATE TABLE browser("
        " mark BLOB PRIMARY KEY CHECK(length(mark) = 32),"
        " account TEXT NOT NULL REFERENCES account(name),"
        " made_s INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
        "CREATE INDEX browser_account ON browser(account, made_s);"
        "CREATE INDEX session_account ON session(account, seen_s);"
        "CREATE INDEX failure_last ON failure(last_s);"
        "CREATE INDEX trail_did ON trail(did, at_s);";

#endif
