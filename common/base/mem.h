/*
 * Allocation of arrays without overflow, and bounded copies of text.
 *
 * Ownership: the caller frees what is returned, with free(). NULL means out of memory (or a size
 * that does not fit).
 */
#ifndef FSP_BASE_MEM_H
#define FSP_BASE_MEM_H

#include <stddef.h>

/* n zeroed items of `size` bytes; never NULL for n 0 unless out of memory. */
void *fsp_mem_array(size_t n, size_t size);
/* Grow *items (may be NULL) so that `need` items fit; doubles *cap. Unchanged on failure.
 * Returns 0, or -1 when out of memory. */
int fsp_mem_grow(void **items, size_t *cap, size_t need, size_t size);
/* A copy of len bytes with a NUL behind. */
char *fsp_mem_text(const void *text, size_t len);

#endif
