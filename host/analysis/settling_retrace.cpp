// SPDX-License-Identifier: MIT
#include "host/analysis/settling_retrace.hpp"
#include "host/analysis/period_curve.hpp"
#include <algorithm>
#include <array>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr int kReplicates = 48;        // their spread is u, good to 1 / sqrt(2 * 48) = 10 %
constexpr std::size_t kNeighbours = 3; // joints tried to either side of a chosen one in a replicate
constexpr double kStiffPenalty = 12;
constexpr PieceOptions kOtherOptions[] = {
    {5, 3}, {5, kStiffPenalty}, {3, 6}}; // softer, stiffer, and of cubics at most
constexpr std::size_t kLeastPlaces = 3;

enum Output { kWidth, kFull, kSwing, kBegin, kEnd, kOutputs };
using Outputs = std::array<double, kOutputs>;

Outputs read_off(const PeriodCurve& curve, const PeriodPoints& period) {
    const auto top = curve.highest(period.points.t.front() + period.delay_s, period.cross_s);
    const auto low = curve.lowest(period.cross_s, period.points.t.back() + period.delay_s);
    const double swing = top.value - low.value;
    const double t90 = curve.falls_through(top.value - 0.1 * swing, top.time_s, low.time_s);
    const double t10 = curve.falls_through(low.value + 0.1 * swing, top.time_s, low.time_s);
    return {t10 - t90, low.time_s - top.time_s, swing, top.time_s, low.time_s};
}

double scatter(const PeriodPoints& period, const std::vector<Piece>& pieces) {
    double chi = 0;
    double freedom = 0;
    for (const Piece& piece : pieces) {
        chi += piece.fit.fit.rss;
        freedom += static_cast<double>(piece.fit.fit.degrees_of_freedom) - 1; // the joint
    }
    return freedom > 8 && period.points.size() > 0 ? std::sqrt(std::max(1.0, chi / freedom)) : 1;
}

// Marks that jitter shift all samples of a period alike: in the steep part neighbours then lie off
// together, which pieces would follow. What a stiff fit leaves there counts as noise.
void widen_where_scattered(PeriodPoints& period, const std::vector<Piece>& stiff) {
    for (const Piece& piece : stiff) {
        const double freedom = static_cast<double>(piece.fit.fit.degrees_of_freedom);
        const double scale = std::max(1.0, piece.fit.fit.rss / std::max(1.0, freedom));
        for (std::size_t i = piece.first; i < piece.last; ++i) {
            period.points.weight[i] /= scale;
        }
    }
}

// Joints near the chosen ones: in replicates the others would hardly ever be taken.
std::vector<std::size_t> nearby(const std::vector<std::size_t>& joints,
                                const std::vector<Piece>& pieces) {
    std::vector<std::size_t> near;
    for (std::size_t k = 1; k < pieces.size(); ++k) {
        const auto at = static_cast<std::size_t>(
            std::lower_bound(joints.begin(), joints.end(), pieces[k].first) - joints.begin());
        const std::size_t from = at > kNeighbours ? at - kNeighbours : 0;
        for (std::size_t i = from; i < std::min(joints.size(), at + kNeighbours); ++i) {
            near.push_back(joints[i]);
        }
        near.push_back(pieces[k].first);
    }
    std::sort(near.begin(), near.end());
    near.erase(std::unique(near.begin(), near.end()), near.end());
    return near;
}

struct Spread {
    Outputs mean{};
    Outputs variance{};
};

// The whole way from points to figures again and again on periods drawn from the curve: noise,
// quantiser and the choice of joints all show in how the figures scatter.
Spread replicate(const PeriodPoints& period, const std::vector<std::size_t>& joints,
                 const std::vector<Piece>& pieces) {
    std::mt19937 random(1);
    const double noise_scale = scatter(period, pieces);
    const auto near = nearby(joints, pieces);
    std::vector<Outputs> all;
    for (int r = 0; r < kReplicates; ++r) {
        const WeightedPoints again = measured_again(period, pieces, noise_scale, random);
        all.push_back(
            read_off(PeriodCurve(period, fit_pieces(again, near), period.delay_s), period));
    }
    Spread s;
    for (std::size_t k = 0; k < kOutputs; ++k) {
        for (const Outputs& o : all) {
            s.mean[k] += o[k] / kReplicates;
        }
        for (const Outputs& o : all) {
            s.variance[k] += (o[k] - s.mean[k]) * (o[k] - s.mean[k]) / (kReplicates - 1);
        }
    }
    return s;
}

// Chi-square and penalty of the pieces and of the other fit over the same places.
bool explains_as_well(const Retrace& other, const PeriodPoints& period,
                      const std::vector<Piece>& pieces) {
    const WeightedPoints& p = period.points;
    double chi_other = 0;
    double chi_pieces = 0;
    double coefficients = 0;
    for (const Piece& piece : pieces) {
        bool used = false;
        for (std::size_t i = piece.first; i < piece.last; ++i) {
            if (p.t[i] < other.fit_from_s || p.t[i] > other.fit_to_s) {
                continue;
            }
            used = true;
            const double off = p.y[i] - piece.fit.value(p.t[i]);
            const double other_off = p.y[i] - other.seen(p.t[i]);
            chi_pieces += p.weight[i] * off * off;
            chi_other += p.weight[i] * other_off * other_off;
        }
        coefficients +=
            used ? static_cast<double>(piece.fit.fit.coefficients.size()) + 1 : 0; // and its joint
    }
    return chi_other <= chi_pieces + PieceOptions{}.penalty *
                                         (coefficients - static_cast<double>(other.parameters));
}

std::size_t places_between(const WeightedPoints& points, double from_s, double to_s) {
    return static_cast<std::size_t>(std::count_if(
        points.t.begin(), points.t.end(), [&](double t) { return t >= from_s && t <= to_s; }));
}

} // namespace

Retrace measure_settling_retrace(const Fold& fold, const Segments& segments) {
    Retrace r;
    PeriodPoints period = points_round_retrace(fold, segments);
    const auto joints = allowed_joints(period);
    widen_where_scattered(
        period, fit_pieces(period.points, joints, {PieceOptions{}.max_degree, kStiffPenalty}));
    const std::vector<Piece> pieces = fit_pieces(period.points, joints);
    if (Retrace one = measure_retrace(fold, segments);
        one.ok && explains_as_well(one, period, pieces)) {
        return one;
    }
    const PeriodCurve curve(period, pieces, period.delay_s);
    const Outputs value = read_off(curve, period);
    r.count =
        places_between(period.points, value[kBegin] - period.delay_s, value[kEnd] - period.delay_s);
    if (r.count < kLeastPlaces) {
        r.problem = fmt::format("retrace was sampled at only {} places, {} are needed: step the "
                                "sampling place, or sample more often",
                                r.count, kLeastPlaces);
        return r;
    }
    if (!(value[kSwing] > 0) || !(value[kFull] < fold.period_s / 2)) {
        r.problem = "retrace does not meet the trace";
        return r;
    }
    const Spread spread = replicate(period, joints, pieces);
    // What a stiffer and a softer choice of joints and orders would have given.
    Outputs model{};
    for (const PieceOptions& options : kOtherOptions) {
        const Outputs other = read_off(
            PeriodCurve(period, fit_pieces(period.points, joints, options), period.delay_s),
            period);
        for (std::size_t k = 0; k < kOutputs; ++k) {
            model[k] += (other[k] - value[k]) * (other[k] - value[k]);
        }
    }
    const Outputs lagged =
        read_off(PeriodCurve(period, pieces, period.delay_s * (1 + kDelayRelativeU)), period);
    const auto estimate = [&](Output k) {
        // What noise alone adds on average is taken off, half of it in doubt.
        const double sd = std::sqrt(spread.variance[k]);
        const double shift = std::clamp(spread.mean[k] - value[k], -sd, sd);
        const double lag = lagged[k] - value[k];
        return Estimate{value[k] - shift,
                        std::sqrt(spread.variance[k] + shift * shift / 4 + lag * lag + model[k])};
    };
    r.width_10_90_s = estimate(kWidth);
    r.full_s = estimate(kFull);
    r.swing = estimate(kSwing);
    r.begin_s = estimate(kBegin);
    r.end_s = estimate(kEnd);
    r.ok = true;
    return r;
}

} // namespace yokedock::analysis
