// SPDX-License-Identifier: MIT
// ngspice's waveforms, taken for a stranger's oscilloscope files: imported, set against what the
// healthy circuit showed in the same way, diagnosed.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include "host/diagnose/diagnose.hpp"
#include <string>
#include <vector>

namespace yokedock::spice {

/// What the diagnosis makes of one file.
struct DiagnosedCase {
    char axis = 'v';
    std::string id;
    std::string change;
    diagnose::Outcome outcome{};
    double healthy = 0;
    std::size_t rank = 0; ///< of the fault that is there, from 1; 0: it has no row
    double probability = 0;
    struct Named {
        std::string id;
        double probability;
    };
    std::vector<Named> first; ///< the three first suspects
};

/// How many faults of an axis count: the first ones of its list of cases (vertical_cases(),
/// line_cases()) that have a row in the catalogue, in the order of the list. Chosen before any of
/// them was diagnosed.
constexpr std::size_t kFaultsThatCount = 10;

/// The file of each case of an axis; at most `faults` of them. First two healthy boards: the same
/// circuit by another noise, and one with its parts off by a part of their tolerance. Expected
/// figures: those of the healthy circuit's file, with the default tolerances of one board.
/// Throws std::runtime_error when ngspice gives nothing.
[[nodiscard]] std::vector<DiagnosedCase> diagnose_cases(const sim::BoardParameters& board,
                                                        char axis, std::size_t faults);

/// A line for people: "v  v_sense_high  suspect  1  0.50  v_sense_high 0.50, ...".
[[nodiscard]] std::string text(const DiagnosedCase& one);

} // namespace yokedock::spice
