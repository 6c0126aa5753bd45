// SPDX-License-Identifier: MIT
#include "host/analysis/fold.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kSpacingTolerance = 0.2;

std::vector<FoldedSample> place(const capture::Samples& samples, const Marks& marks) {
    std::vector<FoldedSample> out;
    out.reserve(samples.value.size());
    std::size_t m = 0;
    for (std::size_t i = 0; i < samples.value.size(); ++i) {
        const double t = samples.time_s[i] - samples.delay_s;
        while (m + 1 < marks.time_s.size() && marks.time_s[m + 1] <= t) {
            ++m;
        }
        const double phase = t - marks.time_s[m];
        const bool last = m + 1 >= marks.time_s.size();
        const double spacing = last ? marks.period_s : marks.time_s[m + 1] - marks.time_s[m];
        // In a gap only the first period after the mark is known.
        const bool sound = std::abs(spacing / marks.period_s - 1) < kSpacingTolerance;
        const double limit = sound ? std::min(spacing, marks.period_s) : marks.period_s;
        if (phase >= 0 && phase < limit) {
            out.push_back({phase, samples.value[i], t, static_cast<std::uint32_t>(m)});
        }
    }
    return out;
}

struct CellSums {
    double n = 0, t = 0, y = 0, tt = 0, ty = 0, yy = 0;
};

// Spread about a line inside the cell where there are samples enough, else about the mean.
Cell close(const CellSums& s, double origin_s, double offset) {
    Cell cell{origin_s + s.t / s.n, offset + s.y / s.n, 0, static_cast<std::size_t>(s.n)};
    const double stt = s.tt - s.t * s.t / s.n;
    const double sty = s.ty - s.t * s.y / s.n;
    const double syy = std::max(0.0, s.yy - s.y * s.y / s.n);
    const double span2 = stt / s.n;
    if (s.n >= 4 && span2 > 0) {
        cell.variance = std::max(0.0, syy - sty * sty / stt) / (s.n - 2);
    } else if (s.n >= 2) {
        cell.variance = syy / (s.n - 1);
    }
    return cell;
}

double median_noise(const std::vector<Cell>& cells) {
    std::vector<double> v;
    for (const Cell& c : cells) {
        if (c.count >= 3) {
            v.push_back(c.variance);
        }
    }
    if (v.size() < 8) {
        return 0;
    }
    auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
    std::nth_element(v.begin(), middle, v.end());
    return std::sqrt(*middle);
}

} // namespace

Fold fold(const capture::Samples& samples, const Marks& marks, std::size_t cells_per_period) {
    Fold result;
    result.period_s = marks.period_s;
    result.sync = marks.sync;
    result.delay_s = samples.delay_s;
    result.resolution = samples.resolution;
    // A line of the wrong slope: evenly spread over its length.
    result.place_u_s =
        marks.period_u_s * static_cast<double>(marks.time_s.size()) / std::sqrt(12.0);
    if (marks.time_s.empty() || !(marks.period_s > 0) || samples.value.empty()) {
        return result;
    }
    result.samples = place(samples, marks);
    build_cells(result, cells_per_period);
    return result;
}

void build_cells(Fold& result, std::size_t cells_per_period) {
    result.cells.clear();
    result.periods = 0;
    if (result.samples.empty()) {
        return;
    }
    const double width = result.period_s / static_cast<double>(cells_per_period);
    const double offset = result.samples.front().value; // keeps the sums of squares exact
    std::vector<CellSums> sums(cells_per_period);
    std::uint32_t last = UINT32_MAX;
    for (const FoldedSample& s : result.samples) {
        const auto k = std::min(cells_per_period - 1, static_cast<std::size_t>(s.phase_s / width));
        CellSums& c = sums[k];
        const double t = s.phase_s - static_cast<double>(k) * width;
        const double y = s.value - offset;
        c.n += 1;
        c.t += t;
        c.y += y;
        c.tt += t * t;
        c.ty += t * y;
        c.yy += y * y;
        result.periods += s.period != last ? 1u : 0u;
        last = s.period;
    }
    for (std::size_t k = 0; k < cells_per_period; ++k) {
        if (sums[k].n > 0) {
            result.cells.push_back(close(sums[k], static_cast<double>(k) * width, offset));
        }
    }
    result.noise_sd = median_noise(result.cells);
}

} // namespace yokedock::analysis
