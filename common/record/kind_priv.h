/*
 * The rows behind kind.h, in a file of their own: kinds, their fields, the operations.
 *
 * Everything is static and read-only. Use kind.h; this is for kind.c.
 */
#ifndef FSP_RECORD_KIND_PRIV_H
#define FSP_RECORD_KIND_PRIV_H

#include <stddef.h>

#include "record/kind.h"

extern const struct fsp_field fsp_table_common[];
extern const struct fsp_kind fsp_table_kinds[];
extern const size_t fsp_table_kinds_n;
extern const struct fsp_op fsp_table_ops[];
extern const size_t fsp_table_ops_n;

#endif
