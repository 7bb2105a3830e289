#include "wire/dictionary.h"

/* Provisional until the first training run. */
const uint8_t fsp_dictionary_1[] =
        "{\"at\":\"2026-03-02T06:00:00Z\",\"by\":\"clerk\",\"depth\":\"9300ft\",\"kind\":"
        "\"work\","
        "\"noted\":\"2026-03-02T06:10:00Z\",\"op\":\"round-trip\",\"v\":1}\n";
const size_t fsp_dictionary_1_len = sizeof(fsp_dictionary_1) - 1;
