// SPDX-License-Identifier: MIT
#include "host/diagnose/likelihood.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::diagnose {
namespace {

constexpr double kStray = 0.002; ///< share of good boards' figures that are anything
/// The same under a fault whose row is silent: on its own axis, where either has no axis,
/// elsewhere.
constexpr double kSideEffect[] = {0.04, 0.015, 0.005};
constexpr double kMiss = 0.05; ///< the same under a fault whose row speaks of the figure
constexpr double kFlagStray =
    1e-4; ///< a good board that shows a 0: lock and pulses are not lost by chance
constexpr double kFlagSide[] = {0.05, 0.02, 0.005};
constexpr double kFlagOther = 0.25;
constexpr double kSizeDoubt = 0.33; ///< of a predicted effect: boards differ; chosen, no source
constexpr double kPi = 3.14159265358979323846;

double density(double x, double sd) {
    const double z = x / sd;
    return std::exp(-0.5 * z * z) / (sd * std::sqrt(2 * kPi));
}

/// Twice as wide as `broad` at the tails: a quarter of a wide bell keeps far values possible.
double anywhere(const Deviation& d) {
    const double sd = std::hypot(d.sd, d.feature->broad);
    return 0.75 * density(d.value, sd) + 0.25 * density(d.value, 4 * sd);
}

/// share of `anywhere`, the rest a bell round centre.
double mixed(const Deviation& d, double centre, double sd, double share) {
    return (1 - share) * density(d.value - centre, sd) + share * anywhere(d);
}

/// A rise that is gone is gone: the doubt is of what is left of it, where that is less.
double size_doubt(const Feature& feature, double centre) {
    const bool heat = feature.scale == Scale::kHeatRise && centre < 0;
    return kSizeDoubt * (heat ? std::min(-centre, 1 + centre) : std::abs(centre));
}

double log_flag(const Deviation& d, double p_one) {
    return std::log(d.value > 0.5 ? p_one : 1 - p_one);
}

bool is_flag(const Deviation& d) {
    return d.feature->scale == Scale::kFlag;
}

} // namespace

double predicted(const Feature& feature, const Effect& effect, double severity) {
    const auto in_scale = [&](double x) {
        return feature.scale == Scale::kRatio      ? std::log(x)
               : feature.scale == Scale::kHeatRise ? x - 1
                                                   : x;
    };
    const double low = in_scale(effect.low);
    const double high = in_scale(effect.high);
    if (!effect.mid) {
        return (1 - severity) * low + severity * high;
    }
    const double mid = in_scale(*effect.mid);
    return severity < 0.5 ? low + 2 * severity * (mid - low)
                          : mid + (2 * severity - 1) * (high - mid);
}

double log_healthy(const Deviation& d) {
    return is_flag(d) ? log_flag(d, 1 - kFlagStray) : std::log(mixed(d, 0, d.sd, kStray));
}

double log_other(const Deviation& d) {
    return is_flag(d) ? log_flag(d, 1 - kFlagOther) : std::log(mixed(d, 0, d.sd, 0.5));
}

Nearness nearness(const FaultRow& row, const Feature& feature) {
    const auto axis_of = [](const std::string& word, std::initializer_list<const char*> v,
                            std::initializer_list<const char*> h) {
        const auto begins = [&](const char* with) { return word.rfind(with, 0) == 0; };
        return std::any_of(v.begin(), v.end(), begins)   ? 'v'
               : std::any_of(h.begin(), h.end(), begins) ? 'h'
                                                         : ' ';
    };
    const char fault = axis_of(row.section, {"vertical", "ramp", "boost"}, {"line", "horizontal"});
    const char figure = axis_of(feature.name, {"v_", "heatsink"}, {"h_"});
    return fault == ' ' || figure == ' ' ? Nearness::kNoAxis
           : fault == figure             ? Nearness::kSameAxis
                                         : Nearness::kOtherAxis;
}

double log_fault(const Deviation& d, const Effect* effect, Nearness near, const Course& course) {
    if (effect == nullptr) {
        const auto k = static_cast<std::size_t>(near);
        return is_flag(d) ? log_flag(d, 1 - kFlagSide[k])
                          : std::log(mixed(d, 0, d.sd, d.feature->root ? kStray : kSideEffect[k]));
    }
    if (effect->maybe && !course.maybes) {
        return is_flag(d) ? log_healthy(d) : std::log(mixed(d, 0, d.sd, kMiss));
    }
    const double severity = course.severity;
    const double centre = predicted(*d.feature, *effect, severity);
    if (is_flag(d)) {
        return log_flag(d, std::clamp(centre, 0.02, 0.98));
    }
    const double sd = std::hypot(d.sd, size_doubt(*d.feature, centre), severity * effect->sd);
    double p = mixed(d, centre, sd, kMiss);
    if (effect->either_sign) {
        p = 0.5 * (p + mixed(d, -centre, sd, kMiss));
    }
    return std::log(p);
}

} // namespace yokedock::diagnose
