// SPDX-License-Identifier: MIT
#include "host/report/sweep_rates.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>

namespace yokedock::report {

using lock::Limit;
using lock::LimitStatus;
using lock::SweepSettings;

std::string rate_text(double hz, const SweepSettings& settings) {
    return number_text(hz, settings.resolution_hz);
}

std::optional<double> free_run_hz(const lock::SweepSummary& summary) {
    for (const auto& figure : {summary.free_run_before, summary.free_run_after}) {
        if (figure && figure->status == analysis::FigureStatus::kMeasured) {
            return figure->value;
        }
    }
    return std::nullopt;
}

std::string range_text(const Limit& low, const Limit& high, const SweepSettings& settings) {
    if (low.status == LimitStatus::kNone && high.status == LimitStatus::kNone) {
        return "none";
    }
    const auto end = [&settings](const Limit& limit, const char* beyond) -> std::string {
        switch (limit.status) {
        case LimitStatus::kFound:
            return rate_text(limit.locked_hz, settings);
        case LimitStatus::kBeyond:
            return beyond + rate_text(limit.locked_hz, settings);
        case LimitStatus::kNone:
            return "none";
        case LimitStatus::kNotMeasured:
            break;
        }
        return "not measured";
    };
    const std::string from = end(low, "below ");
    const std::string to = end(high, "above ");
    return from == to ? from : fmt::format("{} to {} Hz", from, to);
}

char range_mark(double hz, const Limit& low, const Limit& high, const SweepSettings& settings) {
    const Limit& side = hz < settings.nominal_hz ? low : high;
    if (side.status == LimitStatus::kNotMeasured) {
        return '?';
    }
    if (side.status == LimitStatus::kNone) {
        return '.';
    }
    if (side.status == LimitStatus::kBeyond && (hz < settings.low_hz || hz > settings.high_hz)) {
        return '?'; // no such rate was sent
    }
    const bool outside = (low.status == LimitStatus::kFound && hz < low.locked_hz) ||
                         (high.status == LimitStatus::kFound && hz > high.locked_hz);
    return outside ? '.' : '=';
}

} // namespace yokedock::report
