# Run by fsp_embed(): GZIP, NAME, IN, OUT, TYPE, SECONDS.
execute_process(COMMAND ${GZIP} -n -9 -c ${IN} OUTPUT_FILE ${OUT}.gz RESULT_VARIABLE failed)
if(failed)
  message(FATAL_ERROR "gzip ${IN}: ${failed}")
endif()
file(READ ${OUT}.gz bytes HEX)
string(REGEX REPLACE "(................................)" "\\1\n" bytes "${bytes}")
string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
file(WRITE ${OUT} "/* Made by scripts/cmake/EmbedFile.cmake. */
#include \"office/board_assets.h\"

static const unsigned char bytes[] = {
${bytes}};

const struct fsp_http_asset ${NAME} = {\"${TYPE}\", bytes, sizeof(bytes), true, ${SECONDS}};
")
