/*
 * Pieces that the reports of records and of registers share.
 */
#ifndef FSP_AUDIT_REPORT_PRIV_H
#define FSP_AUDIT_REPORT_PRIV_H

#include "audit/trust.h"
#include "base/buf.h"
#include "base/clock.h"
#include "proof/evidence.h"

/* A cosigner's time; out holds FSP_TIME_TEXT_LEN + 1. */
void fsp_report_time(uint64_t time_s, char *out);
/* "  label      value", made safe. */
void fsp_report_line(struct fsp_buf *buf, const char *label, const char *value);
/* The last lines: whose keys count, with their fingerprints. */
void fsp_report_keys(const struct fsp_statement *statement, enum fsp_trust trust,
        const struct fsp_audit_job *job, struct fsp_buf *buf);
void fsp_report_office_keys(const struct fsp_audit_office *office, struct fsp_buf *buf);

/* A JSON string of any bytes: what is not printable shows as \xHH, with the backslash escaped. */
void fsp_report_json_text(struct fsp_buf *buf, const char *text);
/* ,"name":"value" */
void fsp_report_json_member(struct fsp_buf *buf, const char *name, const char *value);
/* {"name":..,"fingerprint":..} */
void fsp_report_json_key(struct fsp_buf *buf, const struct fsp_vkey *vkey);
/* "size":..,"root":..,"signed":{},"cosigned":[] */
void fsp_report_json_head(const struct fsp_statement *statement, struct fsp_buf *buf);

#endif
