// SPDX-License-Identifier: MIT
#include "host/analysis/crossings.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kLowPart = 0.3;
constexpr double kHighPart = 0.7;
constexpr std::size_t kMinSamplesPerPeriod = 8;

double percentile(std::vector<double> v, double part) {
    const auto k = static_cast<std::ptrdiff_t>(part * static_cast<double>(v.size() - 1));
    std::nth_element(v.begin(), v.begin() + k, v.end());
    return v[static_cast<std::size_t>(k)];
}

struct Passages {
    std::vector<double> middle_s;
    std::vector<double> duration_s;
};

double median(std::vector<double> v) {
    return v.empty() ? 0 : percentile(std::move(v), 0.5);
}

double when(const capture::Samples& s, std::size_t i, double level) { // between samples i - 1 and i
    const double y0 = s.value[i - 1];
    const double y1 = s.value[i];
    const double part = y1 == y0 ? 0.5 : std::clamp((level - y0) / (y1 - y0), 0.0, 1.0);
    return s.time_s[i - 1] + part * (s.time_s[i] - s.time_s[i - 1]);
}

} // namespace

std::vector<double> retrace_crossings(const capture::Samples& samples) {
    if (samples.value.size() < 3 * kMinSamplesPerPeriod) {
        return {};
    }
    const double low = percentile(samples.value, 0.02);
    const double high = percentile(samples.value, 0.98);
    const double swing = high - low;
    if (!(swing > 4 * samples.resolution) || !(swing > 0)) {
        return {};
    }
    const double from = low + kLowPart * swing;
    const double to = low + kHighPart * swing;
    const double centre = (low + high) / 2;
    Passages up;
    Passages down;
    int side = 0;
    double left_s = 0;
    double centre_s = 0;
    for (std::size_t i = 1; i < samples.value.size(); ++i) {
        const double y0 = samples.value[i - 1];
        const double y1 = samples.value[i];
        const double leave = side < 0 ? from : to;
        if (side != 0 && (y0 - leave) * side >= 0 && (y1 - leave) * side < 0) {
            left_s = when(samples, i, leave);
        }
        if ((y0 - centre) * (y1 - centre) <= 0 && y0 != y1) {
            centre_s = when(samples, i, centre);
        }
        const int now = y1 >= to ? 1 : (y1 <= from ? -1 : side);
        if (now != side && side != 0) {
            Passages& p = now > 0 ? up : down;
            p.middle_s.push_back(centre_s - samples.delay_s);
            p.duration_s.push_back(when(samples, i, now > 0 ? to : from) - left_s);
        }
        side = now;
    }
    const Passages& fast = median(up.duration_s) < median(down.duration_s) ? up : down;
    const bool dense = !fast.middle_s.empty() &&
                       samples.value.size() >= kMinSamplesPerPeriod * (fast.middle_s.size() + 1);
    return dense && !up.middle_s.empty() && !down.middle_s.empty() ? fast.middle_s
                                                                   : std::vector<double>{};
}

} // namespace yokedock::analysis
