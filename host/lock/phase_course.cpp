// SPDX-License-Identifier: MIT
#include "host/lock/phase_course.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::lock {
namespace {

constexpr double kHoldsNoPlace = 0.4; // periods moved over in one repetition
constexpr double kSameShape =
    0.02;                          // periods; half of the places agree to this from one to the next
constexpr std::size_t kSmooth = 5; // edges; the vertical interval's bend takes some ten to rise

double median(std::vector<double> v) {
    const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
    std::nth_element(v.begin(), middle, v.end());
    return *middle;
}

std::size_t at_or_after(const PhaseCourse& c, double time_s) {
    return static_cast<std::size_t>(std::lower_bound(c.edge_s.begin(), c.edge_s.end(), time_s) -
                                    c.edge_s.begin());
}

// Phase near a time: the median of the nearest few edges, so that a stray one is not the place.
double phase_near(const PhaseCourse& c, double time_s) {
    const std::size_t at = at_or_after(c, time_s);
    const std::size_t begin = std::min(at - std::min(at, kSmooth / 2),
                                       c.phase.size() - std::min(kSmooth, c.phase.size()));
    const auto first = c.phase.begin() + static_cast<std::ptrdiff_t>(begin);
    const auto count = static_cast<std::ptrdiff_t>(std::min(kSmooth, c.phase.size() - begin));
    return median({first, first + count});
}

} // namespace

PhaseCourse phase_course(const std::vector<double>& edge_s, const analysis::PeriodFit& sync) {
    PhaseCourse c;
    c.period_s = sync.period_s;
    const double origin = sync.run_start_s.front();
    const double first_sync = sync.edges.front().time_s;
    double turns = 0;
    for (const double edge : edge_s) {
        if (edge < first_sync) {
            continue;
        }
        const double x = (edge - origin) / sync.period_s;
        const double phase = x - std::floor(x);
        if (!c.phase.empty()) {
            turns += std::round(c.phase.back() - turns - phase);
        }
        c.edge_s.push_back(edge);
        c.phase.push_back(phase + turns);
    }
    return c;
}

void remove_repeating(PhaseCourse& c, double repeat_s) {
    if (!(repeat_s > 0) || c.edge_s.empty()) {
        return;
    }
    const double end_s = c.edge_s.back();
    const std::size_t shape_from = at_or_after(c, end_s - repeat_s);
    if (shape_from < kLeastPairs || c.phase.size() - shape_from < kLeastPairs) {
        return;
    }
    const auto shape = c.phase.begin() + static_cast<std::ptrdiff_t>(shape_from);
    const auto [low, high] = std::minmax_element(shape, c.phase.end());
    if (*high - *low > kHoldsNoPlace) {
        return;
    }
    // Drift: how far the same places of the shape lie apart, one repetition earlier.
    std::vector<double> change;
    for (std::size_t i = at_or_after(c, end_s - 2 * repeat_s); i < shape_from; ++i) {
        change.push_back(phase_near(c, c.edge_s[i] + repeat_s) - c.phase[i]);
    }
    const double moved = median(change);
    std::vector<double> apart;
    for (const double x : change) {
        apart.push_back(std::abs(x - moved));
    }
    if (change.size() < kLeastPairs || median(apart) > kSameShape) {
        return;
    }
    const double drift_per_s = moved / repeat_s;
    const double rest =
        median({shape, c.phase.end()}); // the shape is a bend of some lines; the rest is the place
    const double rest_s = end_s - repeat_s / 2;
    std::vector<double> bend(c.phase.size());
    for (std::size_t i = 0; i < c.phase.size(); ++i) {
        const double ago = std::ceil((end_s - repeat_s - c.edge_s[i]) / repeat_s);
        const double same_s = std::min(end_s, c.edge_s[i] + std::max(0.0, ago) * repeat_s);
        bend[i] = phase_near(c, same_s) - rest - drift_per_s * (same_s - rest_s);
    }
    for (std::size_t i = 0; i < c.phase.size(); ++i) {
        c.phase[i] -= bend[i];
        c.edge_s[i] -= bend[i] * c.period_s;
    }
    // Edges trade places only where a stray one stands next to another.
    if (!std::is_sorted(c.edge_s.begin(), c.edge_s.end())) {
        std::sort(c.edge_s.begin(), c.edge_s.end());
    }
}

std::size_t settled_from(const PhaseCourse& c, double bound) {
    const std::size_t last = std::max<std::size_t>(3, c.phase.size() / 8);
    const double place =
        median({c.phase.end() - static_cast<std::ptrdiff_t>(std::min(last, c.phase.size())),
                c.phase.end()});
    std::size_t from = c.phase.size();
    int outside = 0;
    while (from > 0) {
        outside = std::abs(c.phase[from - 1] - place) > bound ? outside + 1 : 0;
        if (outside == 2) {
            return from + 1;
        }
        --from;
    }
    return static_cast<std::size_t>(outside);
}

} // namespace yokedock::lock
