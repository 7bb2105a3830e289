# The only carrier of compile and link flags: targets link fsp_flags, CMAKE_C_FLAGS stays untouched.
option(FSP_WERROR "Turn warnings into errors" OFF)
set(FSP_SANITIZE "" CACHE STRING "Sanitizers, e.g. address,undefined")

add_library(fsp_flags INTERFACE)
target_compile_definitions(fsp_flags INTERFACE _POSIX_C_SOURCE=200809L _DEFAULT_SOURCE
  _FILE_OFFSET_BITS=64)
target_compile_options(fsp_flags INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wcast-qual -Wcast-align
  -Wpointer-arith -Wstrict-prototypes -Wold-style-definition -Wmissing-prototypes
  -Wmissing-declarations -Wredundant-decls -Wnested-externs -Wformat=2 -Wundef -Wvla
  -Wwrite-strings -Wswitch-enum -Wimplicit-fallthrough -Wnull-dereference -Wdouble-promotion
  -Wfloat-equal -UNDEBUG -ffp-contract=off -fno-common -fstack-protector-strong
  -fvisibility=hidden
  "$<$<C_COMPILER_ID:GNU>:-Wduplicated-cond;-Wduplicated-branches;-Wlogical-op;-Wformat-signedness;-Wformat-overflow=2;-Wformat-truncation=2;-Wjump-misses-init;-Wtrampolines;-Walloc-zero;-Warith-conversion;-fstack-clash-protection>"
  "$<$<C_COMPILER_ID:Clang>:-Wshorten-64-to-32;-Wconditional-uninitialized;-Wmissing-variable-declarations;-Wcomma;-Wassign-enum;-Wextra-semi-stmt;-Wunreachable-code>"
  $<$<BOOL:${FSP_WERROR}>:-Werror>
  "$<$<CONFIG:Release,RelWithDebInfo>:-U_FORTIFY_SOURCE;-D_FORTIFY_SOURCE=3>")
target_link_options(fsp_flags INTERFACE -Wl,-z,relro -Wl,-z,now -Wl,--as-needed)
if(FSP_SANITIZE)
  target_compile_options(fsp_flags INTERFACE -fsanitize=${FSP_SANITIZE}
    -fno-sanitize-recover=all -fno-omit-frame-pointer)
  target_link_options(fsp_flags INTERFACE -fsanitize=${FSP_SANITIZE})
endif()
