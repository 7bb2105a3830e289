# fsp_embed(VARIABLE NAME FILE TYPE SECONDS): the file, gzip'd, as a C source that defines the asset NAME of
# office/board_assets.h, which browsers keep so long; the source is added to the list VARIABLE. The same file
# gives the same bytes (gzip -n).
find_program(FSP_GZIP gzip REQUIRED)
set(FSP_EMBED_SCRIPT ${CMAKE_CURRENT_LIST_DIR}/EmbedFile.cmake)

function(fsp_embed variable name file type seconds)
  set(out ${CMAKE_CURRENT_BINARY_DIR}/${name}.c)
  add_custom_command(OUTPUT ${out}
    COMMAND ${CMAKE_COMMAND} -DGZIP=${FSP_GZIP} -DNAME=${name} -DIN=${file} -DOUT=${out} -DTYPE=${type}
      -DSECONDS=${seconds} -P ${FSP_EMBED_SCRIPT}
    DEPENDS ${file} ${FSP_EMBED_SCRIPT} VERBATIM)
  set(${variable} ${${variable}} ${out} PARENT_SCOPE)
endfunction()
