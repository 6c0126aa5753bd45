// SPDX-License-Identifier: MIT
#include "host/analysis/phase.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kBeforeSync = 1e-3; // of a period: an edge this early still belongs to that sync
constexpr double kRatioTolerance = 0.003; // nearer than this to p/q counts as locked at that ratio

// Mean of a phase that may straddle 0 / 1.
double circular_mean(const std::vector<PhasePoint>& points) {
    double c = 0;
    double s = 0;
    for (const PhasePoint& p : points) {
        c += std::cos(2 * M_PI * p.phase);
        s += std::sin(2 * M_PI * p.phase);
    }
    const double mean = std::atan2(s, c) / (2 * M_PI);
    return mean < 0 ? mean + 1 : mean;
}

double nearest_turn(double phase, double centre) {
    return phase - std::round(phase - centre);
}

struct Line {
    double slope_per_s = 0;
    double slope_u = 0;
};

// Common slope of all runs, each with its own offset.
Line common_slope(const std::vector<PhasePoint>& points) {
    struct Sums {
        double n = 0, t = 0, y = 0;
    };
    std::vector<Sums> mean(points.back().run + 1);
    for (const PhasePoint& p : points) {
        Sums& m = mean[p.run];
        m.n += 1;
        m.t += p.time_s;
        m.y += p.phase;
    }
    double sxx = 0;
    double sxy = 0;
    double syy = 0;
    for (const PhasePoint& p : points) {
        const Sums& m = mean[p.run];
        const double x = p.time_s - m.t / m.n;
        const double y = p.phase - m.y / m.n;
        sxx += x * x;
        sxy += x * y;
        syy += y * y;
    }
    if (!(sxx > 0)) {
        return {};
    }
    const double slope = sxy / sxx;
    const double rss = std::max(0.0, syy - slope * sxy);
    const auto n = static_cast<double>(points.size());
    return {slope, std::sqrt(rss / std::max(1.0, n - 2) / sxx)};
}

// "1:2" when the ratio is a simple one other than 1:1, else empty.
std::string simple_ratio(double ratio) {
    for (int q = 1; q <= 4; ++q) {
        for (int p = 1; p <= 4; ++p) {
            if (p != q && std::abs(ratio * q / p - 1) < kRatioTolerance) {
                return fmt::format("{}:{}", p, q);
            }
        }
    }
    return {};
}

// Whole periods by which the phase moved, in each run that was watched without a break: at once, or
// little by little as when a picture rolls.
long count_slips(const std::vector<PhasePoint>& points) {
    long slips = 0;
    std::size_t begin = 0;
    for (std::size_t i = 1; i <= points.size(); ++i) {
        if (i == points.size() || points[i].run != points[begin].run) {
            long jumps = 0;
            for (std::size_t k = begin + 1; k < i; ++k) {
                jumps += std::abs(std::lround(points[k].phase - points[k - 1].phase));
            }
            const double moved = std::abs(points[i - 1].phase - points[begin].phase);
            slips += std::max(jumps, static_cast<long>(moved));
            begin = i;
        }
    }
    return slips;
}

} // namespace

PhaseTrack track_phase(const PeriodFit& sync, const PeriodFit& edges) {
    PhaseTrack track;
    track.sync_period_s = sync.period_s;
    track.edge_period_s = edges.period_s;
    track.rate_ratio = sync.period_s / edges.period_s;
    std::size_t s = 0;
    std::int64_t turns = 0; // brings each run's first phase into [0, 1)
    std::size_t run = 0;
    std::size_t last_sync_run = 0;
    std::size_t last_edge_run = 0;
    const bool steady = sync.steady();
    for (const IndexedEdge& e : edges.edges) {
        while (s + 1 < sync.edges.size() && sync.edges[s + 1].time_s <= e.time_s) {
            ++s;
        }
        const IndexedEdge& before = sync.edges[s];
        const double start = steady ? sync.line_s(before) : before.time_s;
        const double since = (e.time_s - start) / sync.period_s;
        if (since < -kBeforeSync || since > 1.5) { // no sync known there
            continue;
        }
        const std::int64_t lead = before.index - e.index;
        const bool first = track.points.empty();
        if (first || before.run != last_sync_run || e.run != last_edge_run) {
            run += first ? 0u : 1u;
            turns = lead;
            last_sync_run = before.run;
            last_edge_run = e.run;
        }
        track.points.push_back(
            {e.time_s, static_cast<double>(lead - turns) + since, before.index, e.index, run});
    }
    return track;
}

LockDecision decide_lock(const PhaseTrack& track, const LockCriteria& criteria) {
    LockDecision d;
    d.count = track.points.size();
    const std::string ratio = simple_ratio(track.rate_ratio);
    if (d.count < criteria.min_edges) {
        d.text = fmt::format("only {} retrace edges stand against a known sync, {} are needed",
                             d.count, criteria.min_edges);
        return d;
    }
    if (!ratio.empty()) {
        d.state = LockState::kOtherRatio;
        d.text = fmt::format("the board runs at {} of the sync rate", ratio);
        return d;
    }
    d.phase = circular_mean(track.points);
    double low = 1e300;
    double high = -1e300;
    double sum2 = 0;
    for (const PhasePoint& p : track.points) {
        // Runs are counted each on its own: only the first turn of each is a matter of choice.
        low = std::min(low, p.phase);
        high = std::max(high, p.phase);
        const double off = nearest_turn(p.phase, d.phase) - d.phase;
        sum2 += off * off;
    }
    const bool straddles = high - low > 0.5 && track.points.back().run > 0;
    if (straddles) { // runs whose first phase fell on either side of 0
        low = 1e300;
        high = -1e300;
        for (const PhasePoint& p : track.points) {
            low = std::min(low, nearest_turn(p.phase, d.phase));
            high = std::max(high, nearest_turn(p.phase, d.phase));
        }
    }
    d.phase_span = high - low;
    const Line line = common_slope(track.points);
    d.dwell_s = track.points.back().time_s - track.points.front().time_s;
    d.drift = line.slope_per_s * d.dwell_s;
    d.drift_u = line.slope_u * d.dwell_s;
    const auto n = static_cast<double>(d.count);
    d.phase_u = std::sqrt(sum2 / n / n);
    d.slips = count_slips(track.points);
    const double drift_allowed = std::max(criteria.drift_bound, 3 * d.drift_u);
    d.state = LockState::kUnlocked;
    if (d.slips != 0) {
        d.text = fmt::format("slipped by {} {} in {:.3g} s", d.slips,
                             d.slips == 1 ? "period" : "periods", d.dwell_s);
    } else if (d.phase_span > criteria.phase_bound) {
        d.text = fmt::format("the phase moves over {:.1f} % of a period, {:.1f} % is allowed",
                             100 * d.phase_span, 100 * criteria.phase_bound);
    } else if (std::abs(d.drift) > drift_allowed) {
        d.text = fmt::format("the phase drifts by {:.2f} % of a period in {:.3g} s", 100 * d.drift,
                             d.dwell_s);
    } else {
        d.state = LockState::kLocked;
        d.text = fmt::format("phase steady within {:.2g} % of a period for {:.3g} s",
                             100 * d.phase_span, d.dwell_s);
    }
    return d;
}

Jitter jitter_of(const std::vector<double>& residual_s, const std::vector<IndexedEdge>& edges,
                 double resolution_s) {
    Jitter j;
    j.count = residual_s.size();
    double sum2 = 0;
    double step2 = 0;
    double steps = 0;
    for (std::size_t i = 0; i < residual_s.size(); ++i) {
        sum2 += residual_s[i] * residual_s[i];
        j.peak_s = std::max(j.peak_s, std::abs(residual_s[i]));
        if (i > 0 && edges[i].run == edges[i - 1].run && edges[i].index == edges[i - 1].index + 1) {
            const double change = residual_s[i] - residual_s[i - 1];
            step2 += change * change;
            steps += 1;
        }
    }
    const auto n = static_cast<double>(j.count);
    if (n < 3) {
        return j;
    }
    const double raw = std::sqrt(sum2 / (n - 1));
    const double raw_step = steps > 0 ? std::sqrt(step2 / steps) : 0;
    j.rms_s = noise_before_quantiser(resolution_s, raw);
    j.successive_s = noise_before_quantiser(resolution_s * std::sqrt(2.0), raw_step);
    // d(rms) of a sum of squares: raw^2 / (rms sqrt(2 n)); where the steps hide the jitter, the
    // steps' own size.
    const double tick_u = resolution_s / std::sqrt(12.0);
    const auto spread = [&](double value, double observed, double count) {
        const double scatter = observed * observed / std::sqrt(2 * std::max(1.0, count));
        return std::min(scatter / std::max(value, 1e-30), std::sqrt(scatter) + tick_u);
    };
    j.rms_u_s = std::hypot(spread(j.rms_s, raw, n), j.rms_s < tick_u ? tick_u / 2 : 0);
    j.successive_u_s = std::hypot(spread(j.successive_s, raw_step, steps),
                                  j.successive_s < tick_u ? tick_u / 2 : 0);
    return j;
}

Interlace interlace_of(const PhaseTrack& fields, const std::vector<bool>& mid_line,
                       double line_period_s) {
    Interlace result;
    double sum[2] = {};
    double sum2[2] = {};
    double n[2] = {};
    if (fields.points.empty() || !(line_period_s > 0)) {
        return result;
    }
    const double centre = fields.points.front().phase;
    for (const PhasePoint& p : fields.points) {
        if (p.sync < 0 || p.sync >= static_cast<std::int64_t>(mid_line.size())) {
            continue;
        }
        const int kind = mid_line[static_cast<std::size_t>(p.sync)] ? 1 : 0;
        const double lines =
            (nearest_turn(p.phase, centre) - centre) * fields.sync_period_s / line_period_s;
        sum[kind] += lines;
        sum2[kind] += lines * lines;
        n[kind] += 1;
    }
    if (n[0] < 3 || n[1] < 3) {
        return result;
    }
    double var = 0;
    for (int k = 0; k < 2; ++k) {
        const double mean = sum[k] / n[k];
        var += std::max(0.0, sum2[k] / n[k] - mean * mean) / (n[k] - 1);
    }
    result.offset_lines = 0.5 + sum[1] / n[1] - sum[0] / n[0];
    result.u_lines = std::sqrt(var);
    result.count = static_cast<std::size_t>(n[0] + n[1]);
    result.ok = true;
    return result;
}

} // namespace yokedock::analysis
