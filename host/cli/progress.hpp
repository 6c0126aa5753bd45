// SPDX-License-Identifier: MIT
#pragma once
#include "host/cli/seams.hpp"
#include <string>

namespace yokedock::cli {

/// Progress on the error stream: one line that is written over on a terminal, one line per phase
/// elsewhere.
class Progress {
  public:
    explicit Progress(Seams& seams) : seams_(seams) {}
    /// Leaves the terminal's line clean.
    ~Progress();
    Progress(const Progress&) = delete;
    Progress& operator=(const Progress&) = delete;

    /// done: 0 to 1 of the whole.
    void show(const std::string& phase, double done);

  private:
    Seams& seams_;
    std::string phase_;
    int percent_ = -1;
};

} // namespace yokedock::cli
