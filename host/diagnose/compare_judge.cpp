// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_parts.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {

Pooled pool(const std::vector<double>& values, const std::vector<double>& own_us) {
    Pooled p;
    p.n = values.size();
    const auto n = static_cast<double>(p.n);
    double sum = 0; // from the first value on, so that large equal values leave no rounding behind
    for (std::size_t i = 0; i < values.size(); ++i) {
        sum += values[i] - values[0];
        p.own_u += own_us[i] * own_us[i] / n;
    }
    p.mean = values[0] + sum / n;
    p.own_u = std::sqrt(p.own_u);
    double sum2 = 0;
    for (const double value : values) {
        sum2 += (value - p.mean) * (value - p.mean);
    }
    p.spread = p.n > 1 ? std::sqrt(sum2 / (n - 1)) : std::nan("");
    return p;
}

Doubt doubt_of(double own_u, const Pooled& reference, const Allowance& allowance,
               ReferenceKind kind, std::size_t tests) {
    const auto n = static_cast<double>(reference.n);
    Doubt d;
    d.tolerance = allowance.tolerance;
    d.basis = allowance.stated ? "stated" : "default";
    if (kind == ReferenceKind::kOtherBoards) {
        d.u = std::hypot(own_u, reference.own_u / std::sqrt(n));
        if (!allowance.stated && allowance.boards_sd > 0) {
            // What was seen takes over as boards come in.
            Spread boards{allowance.boards_sd, kKnownFreedoms};
            if (reference.n > 1) {
                boards = moderated(boards, {reference.spread, n - 1});
            }
            const double band =
                student_quantile(1 - kOutsideSpread / (2 * static_cast<double>(tests)),
                                 boards.freedoms) *
                boards.sd * std::sqrt(1 + 1 / n);
            if (band > allowance.tolerance) {
                d.tolerance = band;
                d.basis = reference.n > 1 ? fmt::format("spread of {} boards", reference.n)
                                          : "other boards, default";
            }
        }
        return d;
    }
    // Runs of one board: where they scatter by more than they state, the scatter counts, for the
    // new run, too.
    double run_u = reference.own_u;
    double freedoms = kManyFreedoms;
    if (reference.n > 1) {
        const Spread seen = moderated({reference.own_u, kKnownFreedoms}, {reference.spread, n - 1});
        if (seen.sd > reference.own_u) {
            run_u = seen.sd;
            freedoms = seen.freedoms;
        }
    }
    const double mean_variance = run_u * run_u / n;
    if (run_u > own_u && freedoms < kManyFreedoms) {
        d.u = run_u * std::sqrt(1 + 1 / n); // one estimate for both
        d.freedoms = freedoms;
        return d;
    }
    d.u = std::sqrt(own_u * own_u + mean_variance);
    d.freedoms = effective_freedoms(own_u * own_u, kManyFreedoms, mean_variance, freedoms);
    return d;
}

double coverage_of(double freedoms, std::size_t tests) {
    return student_quantile(1 - kFalseAlarm / (2 * static_cast<double>(tests)), freedoms);
}

Verdict judge(double difference, double u, double coverage, double tolerance) {
    const double size = std::abs(difference);
    if (!std::isfinite(size) || !std::isfinite(u) || !std::isfinite(tolerance)) {
        return Verdict::kCannotTell;
    }
    if (size > tolerance && size > coverage * u) {
        return Verdict::kDifferent;
    }
    return size + kGuard * u <= tolerance ? Verdict::kSame : Verdict::kCannotTell;
}

std::string place_on_picture(Axis axis, double place) {
    const bool vertical = axis == Axis::kVertical;
    return place < -1.0 / 3  ? (vertical ? "top" : "left")
           : place > 1.0 / 3 ? (vertical ? "bottom" : "right")
                             : "middle";
}

} // namespace yokedock::diagnose
