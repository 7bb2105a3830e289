/*
 * The inside of a bundle, after the sealed box is open: for bundle.c and its fuzz target.
 */
#ifndef FSP_WIRE_BUNDLE_PRIV_H
#define FSP_WIRE_BUNDLE_PRIV_H

#include "wire/bundle.h"

/* Parse header and entries out of the opened box. */
enum fsp_rc fsp_bundle_parse_inner(const uint8_t *bytes, size_t len, struct fsp_bundle **out,
        struct fsp_err *err) FSP_MUST_CHECK;

#endif
