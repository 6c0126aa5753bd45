# SPDX-License-Identifier: MIT
# The preset asan compiles several sources of a target as one (CMake's UNITY_BUILD), which makes its build
# about a third as long. Sources of one target may then not define the same name twice, not even in unnamed namespaces.

# yokedock_alone(SOURCES...): compiles these by themselves, as they use a name that another source of their target
# uses for something else. To be called where the target is made.
function(yokedock_alone)
  set_source_files_properties(${ARGN} PROPERTIES SKIP_UNITY_BUILD_INCLUSION ON)
endfunction()

if(CMAKE_UNITY_BUILD) # warns of classes with members from unnamed namespaces, when they are not in the main source
  target_compile_options(yokedock_options INTERFACE $<$<CXX_COMPILER_ID:GNU>:-Wno-subobject-linkage>)
endif()
