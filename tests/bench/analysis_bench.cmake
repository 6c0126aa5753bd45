# SPDX-License-Identifier: MIT
# Speed of the analysis beside the same fits by GSL. A program to run by hand: no verdict depends on wall time.
find_package(GSL REQUIRED)
add_executable(bench_analysis ${CMAKE_CURRENT_LIST_DIR}/analysis_bench.cpp)
# Catch2 wants its benchmark support compiled into main as well, so this program brings its own.
target_compile_definitions(bench_analysis PRIVATE CATCH_CONFIG_ENABLE_BENCHMARKING CATCH_CONFIG_MAIN)
target_link_libraries(bench_analysis PRIVATE Catch2::Catch2 yokedock_analysis GSL::gsl)
