/*
 * Which records are urgent: the office should know of them without waiting for more to send.
 *
 * A cut; an inspection that decides anything but `run` (out of service, replace, cut, slip, watch);
 * work shown with a design factor under the minimum of its service. All others are routine. The
 * classes are this project's; the minima are those of line/hoist.h.
 *
 * Ownership: bytes are borrowed for the call.
 * Errors: none; what cannot be read is routine.
 */
#ifndef FSP_RIG_URGENT_H
#define FSP_RIG_URGENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

bool fsp_urgent(const uint8_t *bytes, size_t len);

#endif
