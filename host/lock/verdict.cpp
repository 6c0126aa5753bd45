// SPDX-License-Identifier: MIT
#include "host/lock/verdict.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

/// Decimals for a rate of this axis: vertical limits are known to 0.1 Hz or better, horizontal to
/// 10 Hz.
std::string rate(double hz, const SweepSettings& settings) {
    return fmt::format("{:.{}f} Hz", hz, settings.axis == SweepAxis::kVertical ? 2 : 0);
}

void judge(const char* what, const char* side, const Limit& limit, const SweepSettings& settings,
           std::vector<std::string>& against) {
    if (limit.status != LimitStatus::kFound) {
        return;
    }
    const double margin = side[0] == 'l' ? settings.nominal_hz - limit.locked_hz
                                         : limit.locked_hz - settings.nominal_hz;
    if (margin < 0) {
        against.push_back(fmt::format("The set rate lies outside the {} range: its {} limit is {}, "
                                      "the set rate {}.",
                                      what, side, rate(limit.locked_hz, settings),
                                      rate(settings.nominal_hz, settings)));
    } else if (margin < kLeastMarginShare * settings.nominal_hz) {
        against.push_back(fmt::format(
            "The set rate lies only {} ({:.2f} %) from the {} {} limit, less than {:.0f} %: drift "
            "may carry the board out of lock; adjust hold, or find what pulls the oscillator off.",
            rate(margin, settings), 100 * margin / settings.nominal_hz, side, what,
            100 * kLeastMarginShare));
    }
}

} // namespace

std::vector<std::string> reasons_against(const SweepSummary& s) {
    std::vector<std::string> against;
    if (!s.locks_at_nominal) {
        if (s.nominal_state != BoardState::undecided || s.complete) {
            against.push_back(fmt::format("The board does not lock at the set rate of {}: {}.",
                                          rate(s.settings.nominal_hz, s.settings),
                                          word(s.nominal_state)));
        }
        return against;
    }
    judge("hold", "low", s.hold_low, s.settings, against);
    judge("hold", "high", s.hold_high, s.settings, against);
    if (s.pull_in_low.status == LimitStatus::kNone && s.pull_in_high.status == LimitStatus::kNone) {
        against.emplace_back("Once lost, lock is not found again at any rate tried: " +
                             s.pull_in_low.reason);
        return against;
    }
    judge("pull-in", "low", s.pull_in_low, s.settings, against);
    judge("pull-in", "high", s.pull_in_high, s.settings, against);
    return against;
}

} // namespace yokedock::lock
