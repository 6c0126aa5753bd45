// SPDX-License-Identifier: MIT
#include "host/analysis/period.hpp"
#include "host/analysis/polynomial.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <numeric>

namespace yokedock::analysis {
namespace {

constexpr double kStrayPart = 0.05; // of a period
constexpr double kOutlierSd = 6;
constexpr std::size_t kWanderBlocks = 500;

struct RunMean {
    double index = 0;
    double time = 0;
    double count = 0;
};

// The line of one period and one offset per run. Returns the sum of squared index deviations.
double fit_line(PeriodFit& fit, std::size_t runs) {
    std::vector<RunMean> mean(runs);
    const double t0 = fit.edges.front().time_s; // sums near zero keep all digits of a long record
    const std::int64_t i0 = fit.edges.front().index;
    for (const IndexedEdge& e : fit.edges) {
        RunMean& m = mean[e.run];
        m.index += static_cast<double>(e.index - i0);
        m.time += e.time_s - t0;
        m.count += 1;
    }
    for (RunMean& m : mean) {
        m.index /= std::max(1.0, m.count);
        m.time /= std::max(1.0, m.count);
    }
    double sxx = 0;
    double sxy = 0;
    for (const IndexedEdge& e : fit.edges) {
        const double x = static_cast<double>(e.index - i0) - mean[e.run].index;
        sxx += x * x;
        sxy += x * (e.time_s - t0 - mean[e.run].time);
    }
    if (!(sxx > 0)) {
        return 0;
    }
    fit.period_s = sxy / sxx;
    fit.run_start_s.assign(runs, 0.0);
    for (std::size_t r = 0; r < runs; ++r) {
        fit.run_start_s[r] =
            t0 + mean[r].time - fit.period_s * (mean[r].index + static_cast<double>(i0));
    }
    fit.residual_s.clear();
    for (const IndexedEdge& e : fit.edges) {
        const double x = static_cast<double>(e.index - i0) - mean[e.run].index;
        fit.residual_s.push_back(e.time_s - t0 - mean[e.run].time - fit.period_s * x);
    }
    return sxx;
}

double robust_sd(std::vector<double> v) {
    for (double& x : v) {
        x = std::abs(x);
    }
    auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
    std::nth_element(v.begin(), middle, v.end());
    return 1.4826 * *middle;
}

// Takes edges off the line away; true when there were any.
bool drop_outliers(PeriodFit& fit, double resolution_s) {
    const double bound = kOutlierSd * std::max(robust_sd(fit.residual_s), resolution_s);
    std::vector<IndexedEdge> kept;
    for (std::size_t i = 0; i < fit.edges.size(); ++i) {
        if (std::abs(fit.residual_s[i]) <= bound || bound <= 0) {
            kept.push_back(fit.edges[i]);
        }
    }
    if (kept.size() == fit.edges.size() || kept.size() < 3) {
        return false;
    }
    // Far from its place it was not the edge that should have stood there; near it, it was, early
    // or late: jitter, which must not bend the line either.
    const auto strays = static_cast<std::size_t>(
        std::count_if(fit.residual_s.begin(), fit.residual_s.end(), [&](double r) {
            return std::abs(r) > std::max(bound, kStrayPart * fit.period_s);
        }));
    fit.extra += strays;
    fit.missing += strays;
    fit.edges = std::move(kept);
    return true;
}

// How much larger the slope's variance is than white noise of this sd would make it. Slow wander
// shows in the lowest orders that the line leaves in the residuals. A random walk has power 1 /
// ((2k - 1)(2k + 3)) in the normalised Legendre order k (integral of min(s, t) P_k(s) P_k(t)), so
// each order foretells that of order 1, the slope.
double wander_factor(const PeriodFit& fit, double sd) {
    constexpr std::size_t kFirst = 2;
    constexpr std::size_t kLast = 9;
    constexpr double kWhiteReach = 2.0; // chi-square / 8 stays below this in 96 % of white records
    if (fit.edges.size() < 24 || !(sd > 0)) {
        return 1;
    }
    const auto first = static_cast<double>(fit.edges.front().index);
    const auto span = static_cast<double>(fit.edges.back().index) - first;
    double dot[kLast + 1] = {};
    double norm[kLast + 1] = {};
    double p[kLast + 1];
    // Orders this low change little over a 500th of the record: one evaluation serves a block of
    // edges.
    const std::size_t block = fit.edges.size() / kWanderBlocks + 1;
    for (std::size_t from = 0; from < fit.edges.size(); from += block) {
        const std::size_t to = std::min(from + block, fit.edges.size());
        const auto middle =
            static_cast<double>(fit.edges[from].index + fit.edges[to - 1].index) / 2;
        legendre(2 * (middle - first) / span - 1, kLast, p);
        const double sum =
            std::accumulate(fit.residual_s.begin() + static_cast<std::ptrdiff_t>(from),
                            fit.residual_s.begin() + static_cast<std::ptrdiff_t>(to), 0.0);
        for (std::size_t k = kFirst; k <= kLast; ++k) {
            dot[k] += p[k] * sum;
            norm[k] += p[k] * p[k] * static_cast<double>(to - from);
        }
    }
    double power = 0;    // 1 on average when white
    double foretold = 0; // of order 1, if it is a random walk
    constexpr double kShare = 1.0 / static_cast<double>(kLast - kFirst + 1);
    for (std::size_t k = kFirst; k <= kLast; ++k) {
        const auto order = static_cast<double>(k);
        const double part = dot[k] * dot[k] / norm[k] / (sd * sd) * kShare;
        power += part;
        foretold += part * (2 * order - 1) * (2 * order + 3) / 5;
    }
    const double trust = std::clamp((power - kWhiteReach) / 2, 0.0, 1.0);
    return 1 + trust * std::max(0.0, foretold - 1);
}

} // namespace

bool PeriodFit::steady() const {
    constexpr double kSteadySd = 1e-3; // of a period
    // Steps spread a residual by resolution / sqrt(12) at the most, half of the steps when an edge
    // flips between two of them.
    return timing_sd_s < std::max(kSteadySd * period_s, resolution_s / 2);
}

double PeriodFit::place_u_s() const {
    return quantised_place_u(resolution_s, period_s, count);
}

std::optional<PeriodFit> fit_period(const std::vector<double>& times_s, double resolution_s,
                                    const std::vector<capture::Interval>& unwatched) {
    EdgeIndex index = index_edges(times_s, unwatched);
    if (index.edges.size() < 3) {
        return std::nullopt;
    }
    PeriodFit fit;
    fit.missing = index.missing;
    fit.extra = index.extra;
    fit.edges = std::move(index.edges);
    double sxx = fit_line(fit, index.runs);
    for (int round = 0; round < 3 && sxx > 0 && drop_outliers(fit, resolution_s); ++round) {
        sxx = fit_line(fit, index.runs);
    }
    if (!(sxx > 0)) {
        return std::nullopt;
    }
    double rss = 0;
    for (const double r : fit.residual_s) {
        rss += r * r;
    }
    fit.count = fit.edges.size();
    fit.resolution_s = resolution_s;
    const auto n = static_cast<double>(fit.count);
    const double freedom = std::max(1.0, n - 1 - static_cast<double>(index.runs));
    fit.timing_sd_s = std::sqrt(rss / freedom);
    fit.bound_s = fit.timing_sd_s / std::sqrt(sxx);
    const double noise = noise_before_quantiser(resolution_s, fit.timing_sd_s);
    const double steps_u = quantised_slope_u(resolution_s, noise, fit.period_s, fit.count);
    const double white = fit.bound_s * std::sqrt(wander_factor(fit, fit.timing_sd_s));
    fit.period_u_s = std::hypot(white, steps_u);
    fit.rate_hz = 1 / fit.period_s;
    fit.rate_u_hz = fit.period_u_s / (fit.period_s * fit.period_s);
    fit.duration_s = fit.edges.back().time_s - fit.edges.front().time_s;
    return fit;
}

} // namespace yokedock::analysis
