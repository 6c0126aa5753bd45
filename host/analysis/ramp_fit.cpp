// SPDX-License-Identifier: MIT
#include "host/analysis/ramp_fit.hpp"
#include "host/analysis/segment.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kPlaces = 64;    // clusters along the period
constexpr std::size_t kMaxGroups = 64; // clusters of periods
constexpr std::size_t kMinGroups = 6;
constexpr double kOrderPenalty = 3; // per coefficient; 2 is Akaike's, which keeps a few too many

struct Points {
    std::vector<double> x, y, weight;
};

Points cells_inside(const Fold& fold, const Window& window) {
    Points p;
    for (const Cell& cell : fold.cells) {
        const double t = unroll(cell.phase_s, window.begin_s, fold.period_s);
        if (t <= window.end_s) {
            p.x.push_back(window.unit(t));
            p.y.push_back(cell.value);
            p.weight.push_back(static_cast<double>(cell.count));
        }
    }
    return p;
}

LinearFit fit_basis(const Points& points, const Basis& basis) {
    Matrix design(points.x.size(), basis.size());
    for (std::size_t i = 0; i < points.x.size(); ++i) {
        basis.evaluate(points.x[i], design.row(i));
    }
    return least_squares(design, points.y, points.weight);
}

double criterion(const LinearFit& fit, std::size_t points, std::size_t size, double floor) {
    const auto n = static_cast<double>(points);
    return n * std::log(std::max(fit.rss / n, floor)) + kOrderPenalty * static_cast<double>(size);
}

std::vector<Basis> candidates(const RampFitOptions& options, std::size_t points) {
    std::vector<Basis> list;
    for (std::size_t d = options.min_degree; d <= options.max_degree && 3 * (d + 1) < points; ++d) {
        list.push_back({d, 0});
    }
    for (std::size_t k = 8; k <= options.max_intervals && 4 * (k + 3) < points; k *= 2) {
        list.push_back({3, k});
    }
    return list;
}

// Sum over clusters of (sum of x_i r_i)(sum of x_i r_i)', between two inverse normal matrices.
class Sandwich {
  public:
    Sandwich(std::size_t clusters, std::size_t size)
        : size_(size), scores_(clusters, size), used_(clusters, false) {}

    void add(std::size_t cluster, const double* row, double residual) {
        double* score = scores_.row(cluster);
        for (std::size_t j = 0; j < size_; ++j) {
            score[j] += row[j] * residual;
        }
        used_[cluster] = true;
    }

    [[nodiscard]] std::size_t used() const {
        return static_cast<std::size_t>(std::count(used_.begin(), used_.end(), true));
    }

    [[nodiscard]] Matrix covariance(const Matrix& bread, double factor) const {
        Matrix moved(scores_.rows(), size_); // each score times the bread
        for (std::size_t g = 0; g < scores_.rows(); ++g) {
            for (std::size_t i = 0; i < size_; ++i) {
                double sum = 0;
                for (std::size_t k = 0; k < size_; ++k) {
                    sum += bread(i, k) * scores_(g, k);
                }
                moved(g, i) = sum;
            }
        }
        Matrix v(size_, size_);
        for (std::size_t g = 0; g < scores_.rows(); ++g) {
            for (std::size_t i = 0; i < size_; ++i) {
                for (std::size_t j = 0; j < size_; ++j) {
                    v(i, j) += factor * moved(g, i) * moved(g, j);
                }
            }
        }
        return v;
    }

  private:
    std::size_t size_;
    Matrix scores_;
    std::vector<bool> used_;
};

// Periods in equal blocks, at most kMaxGroups of them.
std::size_t block_of(std::uint32_t period, std::uint32_t first, std::uint32_t last) {
    const std::size_t span = last - first + 1;
    const std::size_t per_block = (span + kMaxGroups - 1) / kMaxGroups;
    return (period - first) / per_block;
}

void covariances(const Fold& fold, const LinearFit& fit, RampFit& result) {
    const std::size_t p = result.basis.size();
    Sandwich along(kPlaces, p);
    Sandwich across(kMaxGroups, p);
    const std::uint32_t first = fold.samples.front().period;
    const std::uint32_t last = fold.samples.back().period;
    std::vector<double> row(p);
    double rss = 0;
    for (const FoldedSample& s : fold.samples) {
        const double t = unroll(s.phase_s, result.window.begin_s, fold.period_s);
        if (t > result.window.end_s) {
            continue;
        }
        const double x = result.window.unit(t);
        result.basis.evaluate(x, row.data());
        double residual = s.value;
        for (std::size_t j = 0; j < p; ++j) {
            residual -= row[j] * result.c[j];
        }
        rss += residual * residual;
        ++result.samples;
        const double place = (x + 1) / 2 * static_cast<double>(kPlaces);
        along.add(std::min(kPlaces - 1, static_cast<std::size_t>(place)), row.data(), residual);
        across.add(block_of(s.period, first, last), row.data(), residual);
    }
    const auto n = static_cast<double>(result.samples);
    const auto size = static_cast<double>(p);
    const double variance = rss / std::max(1.0, n - size);
    result.residual_sd = std::sqrt(variance);
    result.white = Matrix(p, p);
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j < p; ++j) {
            result.white(i, j) = variance * fit.inverse_normal(i, j);
        }
    }
    // The fit has eaten p of the degrees of freedom along the period, one mean per coefficient
    // across.
    const auto places = static_cast<double>(along.used());
    const double keep = std::max(0.3, 1 - size / places);
    result.along = along.covariance(fit.inverse_normal, 1 / keep);
    result.groups = across.used();
    const auto groups = static_cast<double>(result.groups);
    if (result.groups >= kMinGroups) {
        result.across = across.covariance(fit.inverse_normal, groups / (groups - 1));
    }
}

} // namespace

double RampFit::value(double x) const {
    std::vector<double> row(basis.size());
    basis.evaluate(x, row.data());
    double sum = 0;
    for (std::size_t j = 0; j < row.size(); ++j) {
        sum += row[j] * c[j];
    }
    return sum;
}

double RampFit::variance(const std::vector<double>& gradient) const {
    const double plain = quadratic_form(gradient, white, gradient);
    double sum = std::max(plain, quadratic_form(gradient, along, gradient));
    if (across.rows() > 0) {
        sum += std::max(0.0, quadratic_form(gradient, across, gradient) - plain);
    }
    return sum;
}

RampFit fit_ramp(const Fold& fold, const Window& window, const RampFitOptions& options) {
    RampFit result;
    result.window = window;
    const Points points = cells_inside(fold, window);
    const auto list = candidates(options, points.x.size());
    if (list.empty()) {
        result.problem = fmt::format("only {} places inside the window were sampled, {} are needed",
                                     points.x.size(), 3 * (options.min_degree + 1) + 1);
        return result;
    }
    double weight = 0;
    double scale = 0;
    for (std::size_t i = 0; i < points.y.size(); ++i) {
        weight += points.weight[i];
        scale = std::max(scale, std::abs(points.y[i]));
    }
    // Below rounding every model fits alike: the simplest is then the best.
    const double floor =
        weight / static_cast<double>(points.x.size()) * 1e-28 * scale * scale + 1e-300;
    LinearFit best;
    double best_score = 0;
    for (const Basis& basis : list) {
        LinearFit fit = fit_basis(points, basis);
        if (!fit.ok) {
            continue;
        }
        const double score = criterion(fit, points.x.size(), basis.size(), floor);
        if (!best.ok || score < best_score) {
            best = std::move(fit);
            best_score = score;
            result.basis = basis;
        }
    }
    if (!best.ok) {
        result.problem = "the places sampled inside the window do not determine a ramp";
        return result;
    }
    result.c = best.coefficients;
    covariances(fold, best, result);
    result.ok = true;
    return result;
}

} // namespace yokedock::analysis
