// SPDX-License-Identifier: MIT
#include "tests/spice/waves.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::spice {

namespace {

double least(const std::vector<double>& v) {
    return *std::min_element(v.begin(), v.end());
}
double most(const std::vector<double>& v) {
    return *std::max_element(v.begin(), v.end());
}
double median(std::vector<double> v) {
    const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
    std::nth_element(v.begin(), middle, v.end());
    return *middle;
}

/// Mean time the wave spends above the level in each of its visits there.
double mean_width_s(const std::vector<double>& v, double step_s, double level) {
    double sum = 0;
    double count = 0;
    double rise = NAN;
    for (std::size_t i = 1; i < v.size(); ++i) {
        if ((v[i - 1] < level) == (v[i] < level)) {
            continue;
        }
        const double at = static_cast<double>(i) - 1 + (level - v[i - 1]) / (v[i] - v[i - 1]);
        if (v[i] >= level) {
            rise = at;
        } else if (!std::isnan(rise)) {
            sum += (at - rise) * step_s;
            count += 1;
        }
    }
    return count > 0 ? sum / count : 0;
}

/// Mean time of the fast way between 10 and 90 % of peak to peak. The trace takes the same way
/// slowly: the shorter of the two is retrace.
double mean_retrace_s(const std::vector<double>& v, double step_s) {
    const double low = least(v) + 0.1 * (most(v) - least(v));
    const double high = least(v) + 0.9 * (most(v) - least(v));
    double sum[2] = {0, 0};
    double count[2] = {0, 0};
    double left = NAN;
    int from = 0; // -1: was below low last, 1: above high
    for (std::size_t i = 1; i < v.size(); ++i) {
        const auto crossed = [&](double level) {
            return static_cast<double>(i) - 1 + (level - v[i - 1]) / (v[i] - v[i - 1]);
        };
        if (v[i - 1] >= high && v[i] < high) {
            left = crossed(high);
            from = 1;
        } else if (v[i - 1] <= low && v[i] > low) {
            left = crossed(low);
            from = -1;
        } else if (from == 1 && v[i] <= low) {
            sum[0] += crossed(low) - left;
            count[0] += 1;
            from = 0;
        } else if (from == -1 && v[i] >= high) {
            sum[1] += crossed(high) - left;
            count[1] += 1;
            from = 0;
        }
    }
    const double falling = count[0] > 0 ? sum[0] / count[0] : INFINITY;
    const double rising = count[1] > 0 ? sum[1] / count[1] : INFINITY;
    const double shorter = std::min(falling, rising);
    return std::isfinite(shorter) ? shorter * step_s : 0;
}

double worst(const std::vector<double>& a, const std::vector<double>& b) {
    double far = 0;
    for (std::size_t i = 0; i < a.size(); ++i) {
        far = std::max(far, std::fabs(a[i] - b[i]));
    }
    return far;
}

/// Distance of a from the band that b covers within `slack` points to either side.
double worst_outside_band(const std::vector<double>& a, const std::vector<double>& b,
                          std::ptrdiff_t slack) {
    double far = 0;
    const auto n = static_cast<std::ptrdiff_t>(a.size());
    for (std::ptrdiff_t i = slack; i < n - slack; ++i) {
        const auto [low, high] =
            std::minmax_element(b.begin() + i - slack, b.begin() + i + slack + 1);
        const double x = a[static_cast<std::size_t>(i)];
        far = std::max({far, x - *high, *low - x});
    }
    return far;
}

/// Mean of the largest value of each period.
double mean_peak(const std::vector<double>& v, double step_s, double period_s) {
    const auto n = static_cast<std::ptrdiff_t>(period_s / step_s);
    double sum = 0;
    double count = 0;
    for (std::ptrdiff_t i = 0; i + n <= static_cast<std::ptrdiff_t>(v.size()); i += n) {
        sum += *std::max_element(v.begin() + i, v.begin() + i + n);
        count += 1;
    }
    return sum / count;
}

} // namespace

Waves resample(const sim::SpiceRun& run, double begin_s, double step_s, std::size_t count,
               double sign) {
    Waves w{step_s, {}, {}, {}};
    std::size_t k = 1;
    for (std::size_t i = 0; i < count; ++i) {
        const double t = begin_s + step_s * static_cast<double>(i);
        while (k + 1 < run.time_s.size() && run.time_s[k] < t) {
            ++k;
        }
        const double part = (t - run.time_s[k - 1]) / (run.time_s[k] - run.time_s[k - 1]);
        const auto at = [&](std::size_t wave) {
            const std::vector<double>& v = run.value[wave];
            return v[k - 1] + part * (v[k] - v[k - 1]);
        };
        w.yoke_a.push_back(sign * at(0));
        w.out_v.push_back(at(1));
        w.supply_v.push_back(at(2));
    }
    return w;
}

Agreement compare(const Waves& spice, const Waves& model, double period_s, double slack_share) {
    Agreement a;
    a.swing_a = most(spice.yoke_a) - least(spice.yoke_a);
    a.node_pp_v = most(spice.out_v) - least(spice.out_v);
    a.current = worst(spice.yoke_a, model.yoke_a) / a.swing_a;
    a.supply_v = worst(spice.supply_v, model.supply_v);
    a.retrace_spice_s = mean_retrace_s(spice.yoke_a, spice.step_s);
    a.retrace_model_s = mean_retrace_s(model.yoke_a, model.step_s);
    const double level = 0.5 * (median(spice.out_v) + most(spice.out_v));
    a.width_spice_s = mean_width_s(spice.out_v, spice.step_s, level);
    a.width_model_s = mean_width_s(model.out_v, model.step_s, level);
    // Without a yoke current there is no retrace but the node's own pulse, which may be long.
    constexpr double kLongest = 0.1;
    a.slack_s = slack_share * (a.swing_a > 1e-3 ? a.retrace_spice_s
                                                : std::min(a.width_spice_s, kLongest * period_s));
    const auto slack = static_cast<std::ptrdiff_t>(a.slack_s / spice.step_s + 1);
    a.node = worst_outside_band(spice.out_v, model.out_v, slack) / a.node_pp_v;
    a.peak_spice_v = mean_peak(spice.out_v, spice.step_s, period_s);
    a.peak_model_v = mean_peak(model.out_v, model.step_s, period_s);
    return a;
}

double slope_at_zero(const Waves& waves, double over_s) {
    const std::vector<double>& a = waves.yoke_a;
    const double near_a = 0.05 * (most(a) - least(a));
    const auto n = static_cast<std::size_t>(over_s / waves.step_s);
    std::vector<double> rises;
    for (std::size_t i = n; i < a.size(); ++i) {
        if (std::fabs(a[i]) < near_a && std::fabs(a[i - n]) < near_a && a[i] > a[i - n]) {
            rises.push_back(a[i] - a[i - n]);
        }
    }
    return rises.empty() ? 0 : least(rises) / median(rises);
}

} // namespace yokedock::spice
