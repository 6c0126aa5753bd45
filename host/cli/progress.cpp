// SPDX-License-Identifier: MIT
#include "host/cli/progress.hpp"
#include <cmath>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {

constexpr const char* kBackToLineStart = "\r\x1b[K";

Progress::~Progress() {
    if (seams_.err_is_terminal && percent_ >= 0) {
        seams_.err << kBackToLineStart << std::flush;
    }
}

void Progress::show(const std::string& phase, double done, const std::string& more) {
    const int percent = static_cast<int>(std::lround(100 * done));
    if (seams_.err_is_terminal) {
        if (percent != percent_ || phase != phase_ || more != more_) {
            seams_.err << kBackToLineStart
                       << fmt::format("{}: {} {} %{}{}", verb_, phase, percent,
                                      more.empty() ? "" : ", ", more)
                       << std::flush;
        }
    } else if (phase != phase_) {
        seams_.err << verb_ << ": " << phase << '\n' << std::flush;
    }
    percent_ = percent;
    phase_ = phase;
    more_ = more;
}

} // namespace yokedock::cli
