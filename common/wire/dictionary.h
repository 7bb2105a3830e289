/*
 * The versioned preset dictionaries. A version's bytes never change once rigs have used it.
 *
 * Everything is static and read-only.
 */
#ifndef FSP_WIRE_DICTIONARY_H
#define FSP_WIRE_DICTIONARY_H

#include <stddef.h>
#include <stdint.h>

#define FSP_DICTIONARY_FIRST  1 /* every office knows it; the entries go as they are */
#define FSP_DICTIONARY_TERSE  2 /* from here on they go as terse lines (terse.h) */
#define FSP_DICTIONARY_NEWEST 2
#define FSP_DICTIONARY_PRESET                                                                  \
    ((size_t)32000) /* deflate is given the last so many bytes of one */

/* The bytes of a version (0: the empty dictionary), NULL when this program does not know it. */
const uint8_t *fsp_dictionary(unsigned version, size_t *len);

extern const uint8_t fsp_dictionary_1[];
extern const size_t fsp_dictionary_1_len;
extern const uint8_t fsp_dictionary_2[];
extern const size_t fsp_dictionary_2_len;

#endif
