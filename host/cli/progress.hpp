// SPDX-License-Identifier: MIT
#pragma once
#include "host/cli/seams.hpp"
#include <string>

namespace yokedock::cli {

/// Progress on the error stream: one line that is written over on a terminal, one line per phase
/// elsewhere.
class Progress {
  public:
    /// verb begins each line: "measuring".
    explicit Progress(Seams& seams, std::string verb = "measuring")
        : seams_(seams), verb_(std::move(verb)) {}
    /// Leaves the terminal's line clean.
    ~Progress();
    Progress(const Progress&) = delete;
    Progress& operator=(const Progress&) = delete;

    /// done: 0 to 1 of the whole. more: what a terminal shows after it, "12 s left".
    void show(const std::string& phase, double done, const std::string& more = "");

  private:
    Seams& seams_;
    std::string verb_;
    std::string phase_;
    std::string more_;
    int percent_ = -1;
};

} // namespace yokedock::cli
