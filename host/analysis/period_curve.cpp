// SPDX-License-Identifier: MIT
#include "host/analysis/period_curve.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kStepsPerRetrace = 24; // joints allowed in the coarse retrace
constexpr double kPlacesPerHalf = 64;   // places in half of the coarse retrace
// Of the swing: a place that straddles a corner is off by about this much even without any noise.
constexpr double kLeastNoise = 1e-4;
constexpr std::size_t kMostPlaces = 16384;
constexpr int kScan = 32; // places per piece looked at for an extreme

// Polar method: the distribution classes of the standard library differ between libraries, and the
// same record must give the same figures everywhere.
class Normal {
  public:
    explicit Normal(std::mt19937& random) : random_(random) {}
    double operator()() {
        if (kept_) {
            kept_ = false;
            return next_;
        }
        double u = 0;
        double v = 0;
        double s = 0;
        do {
            u = 2 * uniform() - 1;
            v = 2 * uniform() - 1;
            s = u * u + v * v;
        } while (s >= 1 || s == 0);
        const double factor = std::sqrt(-2 * std::log(s) / s);
        next_ = v * factor;
        kept_ = true;
        return u * factor;
    }
    double uniform() { return (static_cast<double>(random_()) + 0.5) / 4294967296.0; }

  private:
    std::mt19937& random_;
    bool kept_ = false;
    double next_ = 0;
};

// Marks that jitter scatter the samples of a steep slope by more than their noise; enough of them
// in one place tell.
double place_variance(const Cell& c, double noise) {
    constexpr std::size_t kEnough = 6;
    return c.count >= kEnough ? std::max(noise * noise, c.variance) : noise * noise;
}

// Noise of one sample from how places lie off the straight line between their neighbours; for folds
// whose places hold single samples. The median passes over corners.
double neighbour_noise(const std::vector<Cell>& cells) {
    std::vector<double> off;
    for (std::size_t i = 1; i + 1 < cells.size(); ++i) {
        const Cell& a = cells[i - 1];
        const Cell& b = cells[i + 1];
        const double part = (cells[i].phase_s - a.phase_s) / (b.phase_s - a.phase_s);
        const double own = cells[i].value - a.value - part * (b.value - a.value);
        const auto share = [](double weight, const Cell& c) {
            return weight * weight / static_cast<double>(c.count);
        };
        off.push_back(std::abs(own) /
                      std::sqrt(share(1, cells[i]) + share(1 - part, a) + share(part, b)));
    }
    if (off.size() < 8) {
        return 0;
    }
    const auto middle = off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2);
    std::nth_element(off.begin(), middle, off.end());
    constexpr double kMedianOfNormal = 0.6745; // of its absolute value, in standard deviations
    return *middle / kMedianOfNormal;
}

} // namespace

PeriodPoints points_round_retrace(const Fold& fold, const Segments& segments) {
    PeriodPoints p;
    p.cross_s = segments.cross_s;
    p.half_s = (segments.retrace_end_s - segments.retrace_begin_s) / 2;
    p.delay_s = fold.delay_s;
    p.resolution = fold.resolution;
    const double floor =
        std::max(fold.resolution / std::sqrt(12.0), kLeastNoise * (segments.high - segments.low));
    // A place that holds samples from both sides of a corner would blur it.
    Fold fine = fold;
    build_cells(fine, std::min(kMostPlaces, static_cast<std::size_t>(kPlacesPerHalf *
                                                                     fold.period_s / p.half_s)));
    std::vector<Cell> cells = std::move(fine.cells);
    const double from = segments.cross_s - fold.period_s / 2;
    for (Cell& c : cells) {
        c.phase_s = unroll(c.phase_s, from, fold.period_s);
    }
    std::sort(cells.begin(), cells.end(),
              [](const Cell& l, const Cell& r) { return l.phase_s < r.phase_s; });
    const double seen = fold.noise_sd > 0 ? fold.noise_sd : neighbour_noise(cells);
    const double noise = std::max(seen, floor);
    const double step_u =
        quantised_mean_u(fold.resolution, noise_before_quantiser(fold.resolution, seen));
    for (const Cell& c : cells) {
        p.points.add(c.phase_s, c.value * segments.direction,
                     place_variance(c, noise) / static_cast<double>(c.count) + step_u * step_u);
        p.counts.push_back(c.count);
    }
    return p;
}

std::vector<std::size_t> allowed_joints(const PeriodPoints& period) {
    const std::vector<double>& t = period.points.t;
    std::vector<std::size_t> joints;
    double last = t.front();
    for (std::size_t i = 1; i < t.size(); ++i) {
        const double far = std::max(period.half_s, std::abs(t[i] - period.cross_s));
        if (t[i] - last >= 2 * far / kStepsPerRetrace) {
            joints.push_back(i);
            last = t[i];
        }
    }
    return joints;
}

PeriodCurve::PeriodCurve(const PeriodPoints& period, std::vector<Piece> pieces, double delay_s)
    : pieces_(std::move(pieces)), end_(period.points.t.back() + delay_s), delay_s_(delay_s) {
    begins_.push_back(period.points.t.front() + delay_s);
    for (std::size_t k = 1; k < pieces_.size(); ++k) {
        begins_.push_back(std::max(begins_.back(), meeting_place(k, period.points)));
    }
}

double PeriodCurve::piece_value(std::size_t k, double t) const {
    const PolynomialFit& fit = pieces_[k].fit;
    return fit.value(t - delay_s_) + delay_s_ * fit.slope(t - delay_s_);
}

// Where piece k takes over from the one before: where the two cross, looked for as far as one place
// beyond the points on either side, and farther while the corner is still in the lag.
double PeriodCurve::meeting_place(std::size_t k, const WeightedPoints& points) const {
    const double left = points.t[pieces_[k].first - 1] + delay_s_;
    const double right = points.t[pieces_[k].first] + delay_s_;
    const double middle = (left + right) / 2;
    const double reach = 1.5 * (right - left) + delay_s_;
    constexpr int kPlaces = 24;
    const auto gap = [&](double t) { return piece_value(k, t) - piece_value(k - 1, t); };
    double best = middle;
    double nearest = reach * 2;
    double t0 = middle - reach;
    double g0 = gap(t0);
    for (int i = 1; i <= kPlaces; ++i) {
        const double t1 = middle - reach + 2 * reach * i / kPlaces;
        const double g1 = gap(t1);
        if ((g0 < 0) != (g1 < 0)) {
            const double at = t0 + (t1 - t0) * g0 / (g0 - g1);
            if (std::abs(at - middle) < nearest) {
                nearest = std::abs(at - middle);
                best = at;
            }
        }
        t0 = t1;
        g0 = g1;
    }
    return best;
}

double PeriodCurve::value(double t) const {
    const auto after = std::upper_bound(begins_.begin() + 1, begins_.end(), t);
    return piece_value(static_cast<std::size_t>(after - begins_.begin()) - 1, t);
}

PeriodCurve::Extreme PeriodCurve::extreme(double from_s, double to_s, double sign) const {
    Extreme best{from_s, value(from_s)};
    for (std::size_t k = 0; k < pieces_.size(); ++k) {
        const double a = std::max(from_s, begins_[k]);
        const double b = std::min(to_s, k + 1 < pieces_.size() ? begins_[k + 1] : end_);
        if (!(b > a)) {
            continue;
        }
        const double step = (b - a) / kScan;
        for (int i = 0; i <= kScan; ++i) {
            const double t = a + step * i;
            double y = piece_value(k, t);
            double at = t;
            if (i > 0 && i < kScan) { // a turn between places: vertex of the parabola through three
                const double before = piece_value(k, t - step);
                const double after = piece_value(k, t + step);
                const double bend = before - 2 * y + after;
                if (sign * bend < 0 && std::abs(before - after) < 2 * std::abs(bend)) {
                    at = t + step * (before - after) / (2 * bend);
                    y = piece_value(k, at);
                }
            }
            if (sign * y > sign * best.value) {
                best = {at, y};
            }
        }
    }
    return best;
}

PeriodCurve::Extreme PeriodCurve::highest(double from_s, double to_s) const {
    return extreme(from_s, to_s, 1);
}

PeriodCurve::Extreme PeriodCurve::lowest(double from_s, double to_s) const {
    return extreme(from_s, to_s, -1);
}

double PeriodCurve::falls_through(double level, double from_s, double to_s) const {
    double above = from_s;
    double below = to_s;
    for (int i = 0; i < 50; ++i) {
        const double middle = (above + below) / 2;
        (value(middle) > level ? above : below) = middle;
    }
    return (above + below) / 2;
}

WeightedPoints measured_again(const PeriodPoints& period, const std::vector<Piece>& pieces,
                              double noise_scale, std::mt19937& random) {
    Normal normal(random);
    WeightedPoints again = period.points;
    const double step = period.resolution;
    const double offset = step * normal.uniform();
    for (const Piece& piece : pieces) {
        for (std::size_t i = piece.first; i < piece.last; ++i) {
            const double clean = piece.fit.value(period.points.t[i]);
            if (!(step > 0)) {
                again.y[i] = clean + noise_scale * normal() / std::sqrt(period.points.weight[i]);
                continue;
            }
            const double sample_sd =
                std::sqrt(static_cast<double>(period.counts[i]) / period.points.weight[i]);
            const double noise = noise_scale * noise_before_quantiser(step, sample_sd);
            double sum = 0;
            for (std::size_t n = 0; n < period.counts[i]; ++n) {
                const double seen = clean + offset + noise * normal();
                sum += step * std::floor(seen / step + 0.5) - offset;
            }
            again.y[i] = sum / static_cast<double>(period.counts[i]);
        }
    }
    return again;
}

} // namespace yokedock::analysis
