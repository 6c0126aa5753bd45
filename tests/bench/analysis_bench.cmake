# SPDX-License-Identifier: MIT
# Speed of the analysis beside the same fits by GSL. A program to run by hand: no verdict depends on wall time.
find_package(GSL REQUIRED)
add_executable(bench_analysis ${CMAKE_CURRENT_LIST_DIR}/analysis_bench.cpp)
target_link_libraries(bench_analysis PRIVATE yokedock_analysis GSL::gsl yokedock_test_main)
