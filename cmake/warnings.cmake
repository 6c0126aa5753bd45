# SPDX-License-Identifier: MIT
# One interface target that every host target of the project links: warnings, include root, sanitizers.
add_library(yokedock_options INTERFACE)
target_include_directories(yokedock_options INTERFACE ${CMAKE_SOURCE_DIR})
target_compile_options(
  yokedock_options
  INTERFACE -Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wshadow -Werror)
if(YOKEDOCK_SANITIZE)
  target_compile_options(
    yokedock_options INTERFACE -fsanitize=address,undefined -fno-sanitize-recover=all
                               -fno-omit-frame-pointer)
  target_link_options(yokedock_options INTERFACE -fsanitize=address,undefined)
endif()
if(YOKEDOCK_ASSERTS)
  string(REPLACE "-DNDEBUG" "" CMAKE_CXX_FLAGS_RELWITHDEBINFO "${CMAKE_CXX_FLAGS_RELWITHDEBINFO}")
endif()

# Makes a static library of a module folder: yokedock_module(name SOURCES... LINK libs...)
function(yokedock_module name)
  cmake_parse_arguments(PARSE_ARGV 1 arg "" "" "SOURCES;LINK")
  add_library(${name} STATIC ${arg_SOURCES})
  target_link_libraries(${name} PUBLIC yokedock_options ${arg_LINK})
endfunction()
