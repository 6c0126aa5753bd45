// SPDX-License-Identifier: MIT
#include "host/analysis/pieces.hpp"
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kMostDegree = 5;
constexpr std::size_t kLeastDegree = 1; // constants would make stairs of places far apart
constexpr std::size_t kSpare = 2;       // points of a piece beyond its coefficients

// Sums for fits of a growing run of points, about the run's first point so that short runs far from
// the origin lose no digits.
class RunningFit {
  public:
    RunningFit(double origin, double scale, double level)
        : origin_(origin), scale_(scale), level_(level) {}

    void add(double t, double y, double weight) {
        const double x = (t - origin_) / scale_;
        const double v = y - level_;
        double power = weight;
        for (std::size_t k = 0; k < moments_.size(); ++k) {
            moments_[k] += power;
            if (k <= kMostDegree) {
                products_[k] += power * v;
            }
            power *= x;
        }
        squares_ += weight * v * v;
        ++count_;
    }

    /// Chi-square of the best polynomial of each degree 0 .. 5; one elimination gives them all.
    [[nodiscard]] std::array<double, kMostDegree + 1> chi_squares() const {
        std::array<std::array<double, kMostDegree + 1>, kMostDegree + 1> lower{};
        std::array<double, kMostDegree + 1> forward{};
        std::array<double, kMostDegree + 1> chi{};
        double rest = squares_;
        for (std::size_t i = 0; i <= kMostDegree; ++i) {
            double sum = products_[i];
            for (std::size_t j = 0; j < i; ++j) {
                double cross = moments_[i + j];
                for (std::size_t k = 0; k < j; ++k) {
                    cross -= lower[i][k] * lower[j][k];
                }
                lower[i][j] = cross / lower[j][j];
                sum -= lower[i][j] * forward[j];
            }
            double diagonal = moments_[2 * i];
            for (std::size_t k = 0; k < i; ++k) {
                diagonal -= lower[i][k] * lower[i][k];
            }
            if (!(diagonal > 1e-13 * moments_[2 * i]) || count_ < i + 1 + kSpare) {
                std::fill(chi.begin() + static_cast<std::ptrdiff_t>(i), chi.end(),
                          std::numeric_limits<double>::infinity());
                return chi;
            }
            lower[i][i] = std::sqrt(diagonal);
            forward[i] = sum / lower[i][i];
            rest -= forward[i] * forward[i];
            chi[i] = std::max(0.0, rest);
        }
        return chi;
    }

  private:
    double origin_, scale_, level_;
    std::array<double, 2 * kMostDegree + 1> moments_{};
    std::array<double, kMostDegree + 1> products_{};
    double squares_ = 0;
    std::size_t count_ = 0;
};

struct Choice {
    double score = std::numeric_limits<double>::infinity();
    std::size_t degree = 0;
};

Choice choose(const RunningFit& fit, const PieceOptions& options) {
    const auto chi = fit.chi_squares();
    Choice best;
    for (std::size_t d = kLeastDegree; d <= std::min(options.max_degree, kMostDegree); ++d) {
        const double score = chi[d] + options.penalty * static_cast<double>(d + 2);
        if (score < best.score) {
            best = {score, d};
        }
    }
    return best;
}

RunningFit start_at(const WeightedPoints& p, std::size_t first) {
    return {p.t[first], (p.t.back() - p.t.front()) / 2, p.y[first]};
}

Choice of_run(const WeightedPoints& p, std::size_t first, std::size_t last,
              const PieceOptions& options) {
    RunningFit fit = start_at(p, first);
    for (std::size_t i = first; i < last; ++i) {
        fit.add(p.t[i], p.y[i], p.weight[i]);
    }
    return choose(fit, options);
}

/// First points of the best pieces, and the end.
std::vector<std::size_t> best_joints(const WeightedPoints& p,
                                     const std::vector<std::size_t>& joints,
                                     const PieceOptions& options) {
    std::vector<std::size_t> nodes{0};
    for (const std::size_t j : joints) {
        if (j > nodes.back() && j < p.size()) {
            nodes.push_back(j);
        }
    }
    nodes.push_back(p.size());
    std::vector<double> score(nodes.size(), std::numeric_limits<double>::infinity());
    std::vector<std::size_t> from(nodes.size(), 0);
    score[0] = 0;
    for (std::size_t a = 0; a + 1 < nodes.size(); ++a) {
        if (!std::isfinite(score[a])) {
            continue;
        }
        RunningFit fit = start_at(p, nodes[a]);
        for (std::size_t b = a + 1; b < nodes.size(); ++b) {
            for (std::size_t i = nodes[b - 1]; i < nodes[b]; ++i) {
                fit.add(p.t[i], p.y[i], p.weight[i]);
            }
            const double total = score[a] + choose(fit, options).score;
            if (total < score[b]) {
                score[b] = total;
                from[b] = a;
            }
        }
    }
    std::vector<std::size_t> best{p.size()};
    for (std::size_t b = nodes.size() - 1; b > 0; b = from[b]) {
        best.push_back(nodes[from[b]]);
    }
    std::reverse(best.begin(), best.end());
    return best;
}

// A joint is allowed only at some points; between these it may sit better.
void refine(const WeightedPoints& p, std::vector<std::size_t>& joints,
            const std::vector<std::size_t>& allowed, const PieceOptions& options) {
    for (std::size_t k = 1; k + 1 < joints.size(); ++k) {
        const auto at = std::lower_bound(allowed.begin(), allowed.end(), joints[k]);
        const std::size_t low =
            std::max(joints[k - 1], at == allowed.begin() ? std::size_t{0} : *std::prev(at));
        const std::size_t high =
            std::min(joints[k + 1], std::next(at) == allowed.end() ? p.size() : *std::next(at));
        double best = std::numeric_limits<double>::infinity();
        std::size_t place = joints[k];
        for (std::size_t j = low + 1; j < high; ++j) {
            const double score = of_run(p, joints[k - 1], j, options).score +
                                 of_run(p, j, joints[k + 1], options).score;
            if (score < best) {
                best = score;
                place = j;
            }
        }
        joints[k] = place;
    }
}

} // namespace

std::vector<Piece> fit_pieces(const WeightedPoints& points, const std::vector<std::size_t>& joints,
                              const PieceOptions& options) {
    if (points.size() < kLeastDegree + 1 + kSpare) {
        return {};
    }
    std::vector<std::size_t> chosen = best_joints(points, joints, options);
    refine(points, chosen, joints, options);
    std::vector<Piece> pieces;
    for (std::size_t k = 0; k + 1 < chosen.size(); ++k) {
        const auto part = [&](const std::vector<double>& v) {
            return std::vector<double>(v.begin() + static_cast<std::ptrdiff_t>(chosen[k]),
                                       v.begin() + static_cast<std::ptrdiff_t>(chosen[k + 1]));
        };
        const std::size_t degree = of_run(points, chosen[k], chosen[k + 1], options).degree;
        pieces.push_back(
            {chosen[k], chosen[k + 1],
             fit_polynomial(part(points.t), part(points.y), degree, part(points.weight))});
    }
    return pieces;
}

} // namespace yokedock::analysis
