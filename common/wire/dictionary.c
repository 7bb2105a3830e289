#include "wire/dictionary.h"

const uint8_t *
fsp_dictionary(unsigned version, size_t *len)
{
    static const uint8_t empty[1] = {0};

    switch (version) {
    case 0:
        *len = 0;
        return empty;
    case 1:
        *len = fsp_dictionary_1_len;
        return fsp_dictionary_1;
    case 2:
        *len = fsp_dictionary_2_len;
        return fsp_dictionary_2;
    default:
        *len = 0;
        return NULL;
    }
}
