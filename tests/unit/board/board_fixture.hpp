// SPDX-License-Identifier: MIT
// Shared by the board tests: the healthy demo board, loaded once.
#pragma once
#include "demo/virtual_bench/board/board_file.hpp"
#include <catch2/catch.hpp>

namespace yokedock::sim {

inline BoardParameters demo_board(const char* file = "quillwood13.json") {
    const auto loaded = load_board(std::string(YOKEDOCK_BOARDS) + "/" + file);
    if (!loaded) {
        FAIL(loaded.error().text);
    }
    return loaded.value().parameters;
}

/// The healthy board without noise and front-end errors: closed forms can be compared with it.
inline BoardParameters quiet_board() {
    BoardParameters p = demo_board();
    p.vertical_oscillator_noise_v = 0;
    p.line_oscillator_noise_v = 0;
    p.bench_noise_lsb = 0;
    p.bench_errors = 0;
    return p;
}

} // namespace yokedock::sim
