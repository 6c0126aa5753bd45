// SPDX-License-Identifier: MIT
#include "host/analysis/segment.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kMinCells = 24;
constexpr double kLowPart = 0.35; // hysteresis for the passage through the middle
constexpr double kHighPart = 0.65;
constexpr double kMaxRetrace = 0.40; // part of the period; more is no ramp with a retrace
constexpr double kMaxHole = 0.10;    // part of the period that may be without samples

Segments no_ramp(std::string why) {
    Segments none;
    none.problem = std::move(why);
    return none;
}

double percentile(std::vector<double> v, double part) {
    auto k = static_cast<std::ptrdiff_t>(part * static_cast<double>(v.size() - 1));
    std::nth_element(v.begin(), v.begin() + k, v.end());
    return v[static_cast<std::size_t>(k)];
}

// Median of a cell and its two neighbours: one spike must not make a passage.
std::vector<double> smoothed(const std::vector<Cell>& cells) {
    const std::size_t n = cells.size();
    std::vector<double> v(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double a = cells[(i + n - 1) % n].value;
        const double b = cells[i].value;
        const double c = cells[(i + 1) % n].value;
        v[i] = cells[i].count >= 3 ? b : std::max(std::min(a, b), std::min(std::max(a, b), c));
    }
    return v;
}

struct Passage {
    double from_s; // left the one level here
    double to_s;   // reached the other here
    bool upward;
};

double crossing(double t0, double y0, double t1, double y1, double level) {
    return y1 == y0 ? t1 : t0 + (t1 - t0) * std::clamp((level - y0) / (y1 - y0), 0.0, 1.0);
}

// All passages between the two levels once round the circle.
std::vector<Passage> passages(const std::vector<Cell>& cells, const std::vector<double>& v,
                              double period, double low, double high) {
    const std::size_t n = cells.size();
    const auto time = [&](std::size_t i) {
        const std::size_t turns = i / n;
        return cells[i % n].phase_s + period * static_cast<double>(turns);
    };
    std::vector<Passage> out;
    int side = 0; // -1 below low, +1 above high
    double left_s = 0;
    for (std::size_t i = 0; i <= 2 * n; ++i) { // the first turn finds the side to start from
        const double y = v[i % n];
        if (i > 0) {
            const double before = v[(i - 1) % n];
            const double leaving = side < 0 ? low : high;
            if (side != 0 && (before - leaving) * side >= 0 && (y - leaving) * side < 0) {
                left_s = crossing(time(i - 1), before, time(i), y, leaving);
            }
            const bool up = side < 0 && y >= high;
            const bool down = side > 0 && y <= low;
            if (up || down) {
                const double level = up ? high : low;
                const double t = crossing(time(i - 1), before, time(i), y, level);
                if (t > time(n) && t <= time(n) + period) {
                    out.push_back({left_s, t, up});
                }
            }
        }
        side = y >= high ? 1 : (y <= low ? -1 : side);
    }
    return out;
}

} // namespace

Segments find_segments(const Fold& fold) {
    if (fold.cells.size() < kMinCells) {
        return no_ramp(fmt::format("only {} places of the period were sampled, {} are needed",
                                   fold.cells.size(), kMinCells));
    }
    double hole = fold.cells.front().phase_s + fold.period_s - fold.cells.back().phase_s;
    for (std::size_t i = 1; i < fold.cells.size(); ++i) {
        hole = std::max(hole, fold.cells[i].phase_s - fold.cells[i - 1].phase_s);
    }
    if (hole > kMaxHole * fold.period_s) {
        return no_ramp(
            fmt::format("{:.0f} % of the period was not sampled", 100 * hole / fold.period_s));
    }
    const std::vector<double> v = smoothed(fold.cells);
    Segments s;
    s.low = percentile(v, 0.02);
    s.high = percentile(v, 0.98);
    const double swing = s.high - s.low;
    if (!(swing > std::max(6 * fold.resolution, 6 * fold.noise_sd / std::sqrt(4.0)))) {
        return no_ramp(fmt::format(
            "no ramp: the swing of {:.3g} is lost in resolution {:.2g} and noise {:.2g}", swing,
            fold.resolution, fold.noise_sd));
    }
    const auto found =
        passages(fold.cells, v, fold.period_s, s.low + kLowPart * swing, s.low + kHighPart * swing);
    const Passage* fast = nullptr;
    for (const Passage& p : found) {
        if (fast == nullptr || p.to_s - p.from_s < fast->to_s - fast->from_s) {
            fast = &p;
        }
    }
    if (fast == nullptr || found.size() != 2) {
        return no_ramp(
            fmt::format("no ramp: {} passages through the middle per period, not 2", found.size()));
    }
    const double middle = fast->to_s - fast->from_s;
    const double half = middle / (kHighPart - kLowPart) / 2;
    if (2 * half > kMaxRetrace * fold.period_s) {
        return no_ramp(fmt::format("no retrace: the faster slope takes {:.0f} % of the period",
                                   200 * half / fold.period_s));
    }
    s.direction = fast->upward ? -1 : 1;
    s.cross_s = fast->from_s + middle / 2 - fold.period_s;
    s.retrace_begin_s = s.cross_s - half;
    s.retrace_end_s = s.cross_s + half;
    return s;
}

} // namespace yokedock::analysis
