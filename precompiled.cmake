# SPDX-License-Identifier: MIT
# Large foreign headers are compiled once and not with every source. A source gets them only when it includes them
# itself, so that none compiles here that would not compile alone. -DYOKEDOCK_PCH=OFF builds without; so do the
# presets fuzz and tidy, and any build through ccache, which cannot keep what was compiled this way.
if(CMAKE_CXX_COMPILER_LAUNCHER MATCHES ccache)
  set(YOKEDOCK_PCH OFF)
endif()

# yokedock_precompile(name "headers" libs...): the target whose headers others use; flags are those of the libs.
function(yokedock_precompile name headers)
  if(NOT YOKEDOCK_PCH)
    return()
  endif()
  file(WRITE ${CMAKE_CURRENT_BINARY_DIR}/${name}.cpp "// compiled only for the headers\n")
  add_library(${name} STATIC ${CMAKE_CURRENT_BINARY_DIR}/${name}.cpp)
  target_link_libraries(${name} PRIVATE ${ARGN})
  list(TRANSFORM headers PREPEND "<")
  list(TRANSFORM headers APPEND ">")
  target_precompile_headers(${name} PRIVATE ${headers})
endfunction()

# yokedock_use_precompiled(target name regex): in those sources of the target that include what the regex matches.
function(yokedock_use_precompiled target name regex)
  if(NOT YOKEDOCK_PCH)
    return()
  endif()
  target_precompile_headers(${target} REUSE_FROM ${name})
  # g++ 12 takes joined std::strings for out of bounds (its bug 105651 and kin); in precompiled headers it does not see
  # that the place is in a system header, and says so. A build without them still has these warnings for our own code.
  target_compile_options(${target} PRIVATE $<$<CXX_COMPILER_ID:GNU>:-Wno-array-bounds -Wno-restrict
                                           -Wno-stringop-overflow -Wno-stringop-overread>)
  get_target_property(unity ${target} UNITY_BUILD)
  if(unity)
    return() # sources that are compiled as one have one choice; another build tells what does not compile alone
  endif()
  get_target_property(sources ${target} SOURCES)
  foreach(source ${sources})
    get_filename_component(path ${source} ABSOLUTE)
    file(STRINGS ${path} includes REGEX "^#include [<\"].*(${regex})[>\"]")
    if(NOT includes)
      set_source_files_properties(${source} PROPERTIES SKIP_PRECOMPILE_HEADERS ON)
    endif()
  endforeach()
endfunction()
