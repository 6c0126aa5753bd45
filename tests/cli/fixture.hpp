// SPDX-License-Identifier: MIT
// The programs under test, and files for them.
#pragma once
#include "tests/cli/process.hpp"
#include "tests/cli/virtual_bench.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <cmath>
#include <random>
#include <string>

inline Finished yokedock(const std::vector<std::string>& arguments, const TempFolder& folder) {
    return run_program(YOKEDOCK_PROGRAM, arguments, folder.path().string());
}

/// The same with a board that the bench does not switch, which most tests have: run, measure and
/// sweep.
inline std::vector<std::string> powered(std::vector<std::string> words) {
    words.insert(words.end(), {"--supply", "outside"});
    return words;
}

/// A vertical load current as an oscilloscope exports it: 8 fields of 59.94 Hz at 20 us, 10-bit
/// codes, noise.
inline std::string scope_csv(const std::string& header) {
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 0.5);
    constexpr double kPeriodS = 1 / 59.94;
    constexpr double kRetraceS = 700e-6;
    std::string text = header + "\n";
    for (int i = 0; i < 6700; ++i) {
        const double t = i * 20e-6;
        const double phase = std::fmod(t, kPeriodS);
        const double amperes = phase < kRetraceS
                                   ? 0.4 * std::cos(M_PI * phase / kRetraceS)
                                   : 0.8 * (phase - kRetraceS) / (kPeriodS - kRetraceS) - 0.4;
        const double code = std::round(amperes * 800 + noise(random));
        char line[64];
        std::snprintf(line, sizeof(line), "%.6f,%.5f\n", t, code / 800);
        text += line;
    }
    return text;
}
