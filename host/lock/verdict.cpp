// SPDX-License-Identifier: MIT
#include "host/lock/verdict.hpp"
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

bool vertical(const SweepSummary& s) {
    return s.settings.axis == SweepAxis::kVertical;
}

std::string rate(double hz, const SweepSummary& s) {
    return fmt::format("{:.{}f} Hz", hz, vertical(s) ? 3 : 0);
}

std::string near_text(const SweepSummary& s, const char* end, const Limit& limit) {
    const double away = limit.locked_hz - s.settings.nominal_hz;
    return fmt::format(
        "The set rate of {} is only {} from the {} end of the hold range: {:.0f} % of "
        "the range is the least that warm-up and mains leave safe.",
        rate(s.settings.nominal_hz, s), rate(away < 0 ? -away : away, s), end, 100 * kNearEdge);
}

} // namespace

Standing standing(const SweepSummary& s) {
    if (!s.locks_at_nominal) {
        return s.complete || s.nominal_state != BoardState::undecided ? Standing::kNoLock
                                                                      : Standing::kUnknown;
    }
    const auto known = [](const Limit& limit) {
        return limit.status == LimitStatus::kFound || limit.status == LimitStatus::kBeyond;
    };
    if (!known(s.hold_low) || !known(s.hold_high)) {
        return Standing::kUnknown;
    }
    const bool low_found = s.hold_low.status == LimitStatus::kFound;
    const bool high_found = s.hold_high.status == LimitStatus::kFound;
    const double set = s.settings.nominal_hz;
    const double width = s.hold_high.locked_hz - s.hold_low.locked_hz;
    if (low_found && high_found && width < (vertical(s) ? kNarrowField : kNarrowLine) * set) {
        return Standing::kNarrow;
    }
    if (low_found && set - s.hold_low.locked_hz < kNearEdge * width) {
        return Standing::kNearLow;
    }
    if (high_found && s.hold_high.locked_hz - set < kNearEdge * width) {
        return Standing::kNearHigh;
    }
    return Standing::kInside;
}

std::vector<std::string> reasons_against(const SweepSummary& s) {
    switch (standing(s)) {
    case Standing::kNoLock:
        return {fmt::format("The board does not lock at the set rate of {}: {}.",
                            rate(s.settings.nominal_hz, s), word(s.nominal_state))};
    case Standing::kNarrow:
        return {fmt::format("The hold range is narrow: {} to {}.", rate(s.hold_low.locked_hz, s),
                            rate(s.hold_high.locked_hz, s))};
    case Standing::kNearLow:
        return {near_text(s, "lower", s.hold_low)};
    case Standing::kNearHigh:
        return {near_text(s, "upper", s.hold_high)};
    case Standing::kInside:
    case Standing::kUnknown:
        break;
    }
    return {};
}

} // namespace yokedock::lock
