// SPDX-License-Identifier: MIT
#include "host/analysis/load_step.hpp"
#include "host/analysis/load_figures.hpp"
#include "host/analysis/load_fit.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kLeastSamples = 12; ///< after the edge: two rises have seven parameters
constexpr double kLongestS = 10;          ///< a hundred of the bench's longest steps
constexpr double kLeastF = 12;       ///< 1 in 10^5 by chance with many samples, search included
constexpr double kLeastStrength = 5; ///< second amplitude over its uncertainty
constexpr double kLeastShare = 0.02; ///< of the whole: less may be the converter's own curve
constexpr double kSmoothZ = 4;
constexpr double kSmoothShare = 0.01; ///< of the swing: less the verdicts do not feel
constexpr double kResolvedChi2 = 9;   ///< three standard deviations from a jump

std::string bad_input(const StepSamples& s, const StepDrive& d) {
    if (s.time_s.size() != s.amps.size()) {
        return fmt::format("load step: {} times came with {} currents; as many of each are needed",
                           s.time_s.size(), s.amps.size());
    }
    if (!(d.volts > 0) || !(d.source_ohm >= 0) || !std::isfinite(d.volts + d.source_ohm)) {
        return fmt::format("load step: drive of {} V behind {} ohm; volts above 0 and ohms of at "
                           "least 0 are needed: calibrate the step drive",
                           d.volts, d.source_ohm);
    }
    for (const double x :
         {d.volts_u, d.source_ohm_u, s.gain_u_relative, s.zero_u_a, s.linearity_u_a, s.lag_u_s,
          s.origin_u_s, s.lag_s, s.resolution_a, s.clock_u_relative}) {
        if (!(x >= 0) || !std::isfinite(x)) {
            return fmt::format("load step: an uncertainty, lag or resolution is {}; a number of 0 "
                               "or more is needed: look at the calibration",
                               x);
        }
    }
    for (std::size_t i = 0; i < s.time_s.size(); ++i) {
        if (std::abs(s.time_s[i]) > kLongestS) {
            return fmt::format("load step: sample {} is {} s from the step; {} s is the most: are "
                               "the times in seconds?",
                               i, s.time_s[i], kLongestS);
        }
        if (!std::isfinite(s.time_s[i]) || !std::isfinite(s.amps[i])) {
            return fmt::format("load step: sample {} is no number ({} s, {} A)", i, s.time_s[i],
                               s.amps[i]);
        }
    }
    const auto after =
        std::count_if(s.time_s.begin(), s.time_s.end(), [](double t) { return t > 0; });
    if (after < static_cast<std::ptrdiff_t>(kLeastSamples)) {
        return fmt::format("load step: {} samples lie after the step, {} are needed: sample longer",
                           after, kLeastSamples);
    }
    const auto clipped = std::count_if(s.amps.begin(), s.amps.end(),
                                       [&](double a) { return a <= s.least_a || a >= s.most_a; });
    if (clipped > 0) {
        return fmt::format("load step: {} of {} samples are at the end of the channel's range: "
                           "lower the drive voltage or add resistance",
                           clipped, s.amps.size());
    }
    return {};
}

LoadPoints points_of(const StepSamples& s) {
    std::vector<std::size_t> order(s.time_s.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return s.time_s[a] < s.time_s[b]; });
    LoadPoints points;
    for (const std::size_t i : order) {
        if (s.starts_from_zero || s.time_s[i] >= 0) {
            points.t.push_back(s.time_s[i]);
            points.y.push_back(s.amps[i]);
        }
    }
    return points;
}

ResidualTest test_residuals(const LoadPoints& points, const LoadFit& fit,
                            const StepSamples& samples) {
    const std::size_t n = points.y.size();
    double sum2 = 0;
    double steps2 = 0;
    double last = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const double r = points.y[i] - fit.fit.value[i];
        sum2 += r * r;
        steps2 += i > 0 ? (r - last) * (r - last) : 0;
        last = r;
    }
    const double count = static_cast<double>(n);
    const double all2 = sum2 / count;
    const double rough2 = steps2 / (2 * (count - 1));
    ResidualTest test;
    test.noise_a = samples.resolution_a > 0
                       ? noise_before_quantiser(samples.resolution_a, std::sqrt(rough2))
                       : std::sqrt(rough2);
    test.z = all2 > 0 ? (1 - rough2 / all2) * std::sqrt(count) : 0;
    const double shared =
        samples.resolution_a > 0 ? quantised_mean_u(samples.resolution_a, test.noise_a) : 0;
    test.smooth_a = std::sqrt(std::max(0.0, all2 - rough2 - shared * shared));
    const auto [low, high] = std::minmax_element(fit.fit.value.begin(), fit.fit.value.end());
    test.good = test.z < kSmoothZ ||
                test.smooth_a < std::max(kSmoothShare * (*high - *low), 0.3 * samples.resolution_a);
    return test;
}

double final_current(const LoadFit& one, const StepSamples& samples) {
    return one.amplitude(0) + (samples.starts_from_zero ? 0 : one.fit.p[kBase]);
}

// What a fit's misfit comes to when one reading's variance is so much; what was known beforehand
// counts, too.
double chi2_for(const LoadFit& fit, double variance) {
    return fit.fit.chi2 - fit.fit.rss / (fit.fit_sd * fit.fit_sd) + fit.fit.rss / variance;
}

double parameter_u(const LoadFit& fit, const StepSamples& samples, std::size_t at) {
    return total_u(fit_budget(fit, samples, [at](const auto& p) { return p[at]; }));
}

// Is the second rise there?
SecondRise compare(const LoadFit& one, const LoadFit& two, const StepSamples& samples) {
    SecondRise second;
    if (two.rises != 2 || !two.fit.ok) {
        return second;
    }
    second.f = (chi2_for(one, two.sd * two.sd) - chi2_for(two, two.sd * two.sd)) / 2;
    const auto strength = [&](std::size_t k) {
        return std::abs(two.amplitude(k)) / parameter_u(two, samples, kFirstRise + 2 * k);
    };
    second.strength = std::min(strength(0), strength(1));
    second.falls = two.amplitude(0) * two.amplitude(1) < 0;
    const double whole = std::abs(two.amplitude(0) + two.amplitude(1));
    const double lesser = std::min(std::abs(two.amplitude(0)), std::abs(two.amplitude(1)));
    second.found = second.f > kLeastF && second.strength > kLeastStrength &&
                   lesser > kLeastShare * whole && lesser > samples.resolution_a / 4;
    return second;
}

// What it is. two becomes the fit with a jump where that explains the samples as well.
void describe(SecondRise& second, LoadFit& two, const LoadPoints& points,
              const StepSamples& samples) {
    const std::size_t fast = two.faster();
    const std::size_t at = kFirstRise + 2 * fast;
    const std::size_t slow_at = kFirstRise + 2 * (1 - fast);
    const double variance = two.sd * two.sd;
    const double ln_u = parameter_u(two, samples, at + 1);
    const LoadFit jump = fit_rise_and_jump(points, samples, two);
    second.resolved =
        !jump.fit.ok || chi2_for(jump, variance) - chi2_for(two, variance) > kResolvedChi2;
    second.fast_s = two.tau_s(fast);
    if (!second.resolved) {
        second.fast_s = std::max(samples.lag_s, second.fast_s * std::exp(2 * std::min(ln_u, 1.0)));
        two = jump;
    }
    second.slow_s = two.tau_s(1 - fast);
    const auto share = [at, slow_at](const auto& p) { return p[at] / (p[at] + p[slow_at]); };
    second.share = share(two.fit.p);
    second.share_u = total_u(fit_budget(two, samples, share));
}

} // namespace

LoadStep measure_load_step(const StepSamples& samples, const StepDrive& drive) {
    LoadStep step;
    const auto failed = [&](const std::string& problem) {
        step.problem = problem;
        fill_unmeasured(step, samples.prefix, problem);
        return step;
    };
    if (const std::string problem = bad_input(samples, drive); !problem.empty()) {
        return failed(problem);
    }
    LoadPoints points = points_of(samples);
    LoadFit one = fit_one_rise(points, samples);
    if (one.fit.ok && final_current(one, samples) < 0) {
        step.reversed = true;
        for (double& y : points.y) {
            y = -y;
        }
        one = fit_one_rise(points, samples);
    }
    if (!one.fit.ok) {
        return failed("load step: no rise can be fitted to the samples: all fall on one delay, or "
                      "too few do not; spread the delays over the rise");
    }
    step.count = points.t.size();
    step.ok = true;
    LoadFit two = fit_two_rises(points, samples, one);
    step.second = compare(one, two, samples);
    if (step.second.found) {
        describe(step.second, two, points, samples);
    }
    const LoadFit& chosen = step.second.found ? two : one;
    step.residuals = test_residuals(points, chosen, samples);
    fill_figures(step, chosen, samples, drive);
    step.reversed = step.reversed && !step.no_current;
    step.current.value *= step.reversed ? -1 : 1;
    return step;
}

} // namespace yokedock::analysis
