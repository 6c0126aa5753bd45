# SPDX-License-Identifier: MIT
# AVR images are made by avr-g++ directly, as custom commands of the one top-level build, so that
# a host build and the firmware it talks to can never come from different trees.
find_program(AVR_CXX avr-g++ REQUIRED)
find_program(AVR_SIZE avr-size REQUIRED)

set(YOKEDOCK_AVR_FLAGS
    -mmcu=atmega2560 -DF_CPU=16000000UL -std=c++14 -Os -g -flto -ffreestanding -fno-exceptions
    -fno-rtti -fno-threadsafe-statics -ffunction-sections -fdata-sections -Wall -Wextra -Wpedantic
    -Werror -I${CMAKE_SOURCE_DIR})

# add_avr_image(name sources...): builds ${name}.elf in the current binary folder. The target has the
# property AVR_ELF with its full path; the sources' headers are tracked through depfiles.
function(add_avr_image name)
  set(objects "")
  foreach(source ${ARGN})
    get_filename_component(source_path ${source} ABSOLUTE)
    string(MAKE_C_IDENTIFIER "${source}" stem)
    set(object ${CMAKE_CURRENT_BINARY_DIR}/${name}.dir/${stem}.o)
    file(MAKE_DIRECTORY ${CMAKE_CURRENT_BINARY_DIR}/${name}.dir)
    add_custom_command(
      OUTPUT ${object}
      COMMAND ${AVR_CXX} ${YOKEDOCK_AVR_FLAGS} -MMD -MF ${object}.d -MT ${object} -c ${source_path} -o
              ${object}
      DEPENDS ${source_path}
      DEPFILE ${object}.d
      COMMENT "AVR ${name}: ${source}"
      VERBATIM)
    list(APPEND objects ${object})
  endforeach()
  set(elf ${CMAKE_CURRENT_BINARY_DIR}/${name}.elf)
  add_custom_command(
    OUTPUT ${elf}
    COMMAND ${AVR_CXX} ${YOKEDOCK_AVR_FLAGS} -Wl,--gc-sections -o ${elf} ${objects}
    COMMAND ${AVR_SIZE} ${elf}
    DEPENDS ${objects}
    COMMENT "AVR image ${name}.elf"
    VERBATIM)
  add_custom_target(${name} ALL DEPENDS ${elf})
  set_target_properties(${name} PROPERTIES AVR_ELF ${elf})
endfunction()
