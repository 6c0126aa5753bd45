// SPDX-License-Identifier: MIT
#include "host/analysis/prior_fit.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kMostIterations = 60;
constexpr double kLeastGain = 1e-9; // of chi-square: far below what one degree of freedom is worth
constexpr double kMostDamping = 1e12;

class Search {
  public:
    Search(const FitModel& model, const std::vector<double>& y, double sd,
           const std::vector<FitParameter>& parameters)
        : model_(model), y_(y), sd_(sd), parameters_(parameters) {}

    PriorFit run(const std::vector<double>& begin) {
        PriorFit now;
        for (std::size_t k = 0; k < parameters_.size(); ++k) {
            const FitParameter& q = parameters_[k];
            const bool at_start = begin.empty() || q.known_u == 0;
            now.p.push_back(std::clamp(at_start ? q.start : begin[k], q.low, q.high));
        }
        evaluate(now);
        double damping = 1e-3;
        while (std::isfinite(now.chi2) && now.iterations < kMostIterations &&
               damping < kMostDamping) {
            PriorFit next;
            next.iterations = now.iterations + 1;
            if (!step(now, damping, next)) {
                damping *= 10;
                ++now.iterations;
                continue;
            }
            const double gain = now.chi2 - next.chi2;
            if (gain >= 0) {
                now = std::move(next);
                damping = std::max(1e-9, damping / 10);
                if (gain < kLeastGain * (1 + now.chi2)) {
                    break;
                }
            } else {
                ++now.iterations;
                damping *= 10;
            }
        }
        finish(now);
        return now;
    }

  private:
    void evaluate(PriorFit& fit) const {
        fit.value.assign(y_.size(), 0);
        fit.derivative = Matrix(y_.size(), parameters_.size());
        model_(fit.p, fit.value, fit.derivative);
        fit.rss = 0;
        for (std::size_t i = 0; i < y_.size(); ++i) {
            fit.rss += (y_[i] - fit.value[i]) * (y_[i] - fit.value[i]);
        }
        fit.chi2 = fit.rss / (sd_ * sd_);
        for (std::size_t k = 0; k < parameters_.size(); ++k) {
            if (known(k)) {
                const double off = (fit.p[k] - parameters_[k].start) / parameters_[k].known_u;
                fit.chi2 += off * off;
            }
        }
    }

    [[nodiscard]] bool known(std::size_t k) const {
        return parameters_[k].known_u > 0 && std::isfinite(parameters_[k].known_u);
    }

    // Those that may move: not held, and not pressed against a bound.
    [[nodiscard]] std::vector<std::size_t> movable(const PriorFit& fit) const {
        std::vector<std::size_t> list;
        for (std::size_t k = 0; k < parameters_.size(); ++k) {
            const FitParameter& q = parameters_[k];
            if (q.known_u == 0) {
                continue;
            }
            double pull = known(k) ? (q.start - fit.p[k]) / (q.known_u * q.known_u) : 0;
            for (std::size_t i = 0; i < y_.size(); ++i) {
                pull += fit.derivative(i, k) * (y_[i] - fit.value[i]) / (sd_ * sd_);
            }
            if ((fit.p[k] <= q.low && pull <= 0) || (fit.p[k] >= q.high && pull >= 0)) {
                continue;
            }
            list.push_back(k);
        }
        return list;
    }

    // Rows: points, what is known beforehand, damping.
    [[nodiscard]] LinearFit solve(const PriorFit& fit, const std::vector<std::size_t>& list,
                                  double damping) const {
        const std::size_t n = y_.size();
        Matrix rows(n + 2 * list.size(), list.size());
        std::vector<double> right(rows.rows(), 0.0);
        for (std::size_t i = 0; i < n; ++i) {
            right[i] = (y_[i] - fit.value[i]) / sd_;
        }
        for (std::size_t j = 0; j < list.size(); ++j) {
            const std::size_t k = list[j];
            double norm2 = 0;
            for (std::size_t i = 0; i < n; ++i) {
                rows(i, j) = fit.derivative(i, k) / sd_;
                norm2 += rows(i, j) * rows(i, j);
            }
            if (known(k)) {
                const double u = parameters_[k].known_u;
                rows(n + j, j) = 1 / u;
                right[n + j] = (parameters_[k].start - fit.p[k]) / u;
                norm2 += 1 / (u * u);
            }
            rows(n + list.size() + j, j) = std::sqrt(damping * norm2);
        }
        return least_squares(rows, right);
    }

    bool step(const PriorFit& now, double damping, PriorFit& next) const {
        const auto list = movable(now);
        if (list.empty()) {
            return false;
        }
        const LinearFit solution = solve(now, list, damping);
        if (!solution.ok) {
            return false;
        }
        next.p = now.p;
        for (std::size_t j = 0; j < list.size(); ++j) {
            const FitParameter& q = parameters_[list[j]];
            const double move = std::clamp(solution.coefficients[j], -q.most_step, q.most_step);
            next.p[list[j]] = std::clamp(now.p[list[j]] + move, q.low, q.high);
        }
        evaluate(next);
        return std::isfinite(next.chi2);
    }

    void finish(PriorFit& fit) const {
        const std::size_t count = parameters_.size();
        fit.covariance = Matrix(count, count);
        fit.free.assign(count, false);
        const auto list = movable(fit);
        if (list.empty() || !std::isfinite(fit.chi2)) {
            return;
        }
        const LinearFit solution = solve(fit, list, 0);
        if (!solution.ok) {
            return;
        }
        for (std::size_t a = 0; a < list.size(); ++a) {
            fit.free[list[a]] = true;
            for (std::size_t b = 0; b < list.size(); ++b) {
                fit.covariance(list[a], list[b]) = solution.inverse_normal(a, b);
            }
        }
        fit.ok = true;
    }

    const FitModel& model_;
    const std::vector<double>& y_;
    double sd_;
    const std::vector<FitParameter>& parameters_;
};

} // namespace

PriorFit fit_with_priors(const FitModel& model, const std::vector<double>& y, double sd,
                         const std::vector<FitParameter>& parameters,
                         const std::vector<double>& begin) {
    assert(begin.empty() || begin.size() == parameters.size());
    return Search(model, y, sd, parameters).run(begin);
}

} // namespace yokedock::analysis
