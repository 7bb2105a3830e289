/*
 * Every maximum that guards an input from outside, in one place. Sizes in bytes unless the name
 * says otherwise. Each is an engineering choice of this project, not a standard's figure, except
 * where the comment names one.
 */
#ifndef FSP_BASE_LIMITS_H
#define FSP_BASE_LIMITS_H

#include <stddef.h>

#define FSP_ENTRY_MAX         ((size_t)16 * 1024)        /* one record's bytes */
#define FSP_SHEET_MAX         ((size_t)32 * 1024 * 1024) /* one day-sheet file */
#define FSP_SHEET_LINE_MAX    ((size_t)64 * 1024)        /* one line of it */
#define FSP_SHEET_ROWS_MAX    ((size_t)100000)           /* rows of it */
#define FSP_SHEET_COLUMNS_MAX ((size_t)256)
#define FSP_NAME_MAX          ((size_t)63)  /* a fleet's or a rig's name */
#define FSP_ORIGIN_MAX        ((size_t)255) /* <fleet>/<rig>/<incarnation> */
#define FSP_VKEY_MAX          ((size_t)512)
#define FSP_NOTE_MAX          ((size_t)64 * 1024)   /* a signed note, proof or policy file */
#define FSP_NOTE_LINES_MAX    ((size_t)32)          /* signature lines of a note we read */
#define FSP_BUNDLE_MAX        ((size_t)1024 * 1024) /* one sealed bundle */
#define FSP_BUNDLE_ENTRIES    ((size_t)4096)        /* entries in one bundle */
#define FSP_BUNDLE_INFLATED   ((size_t)8 * 1024 * 1024) /* its entries, inflated */
#define FSP_TERSE_MAX         (FSP_BUNDLE_INFLATED + FSP_BUNDLE_ENTRIES) /* terse lines of them */
#define FSP_COURIER_MAX       ((size_t)256 * 1024 * 1024) /* one courier file of bundles */
#define FSP_INVITATION_MAX    ((size_t)16 * 1024)
#define FSP_URL_MAX           ((size_t)1024)
#define FSP_CONF_MAX          ((size_t)64 * 1024)
#define FSP_TREE_LEVELS       64

#endif
