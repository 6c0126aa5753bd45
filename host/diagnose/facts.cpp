// SPDX-License-Identifier: MIT
#include "host/diagnose/facts.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::diagnose {
namespace {

constexpr double kShare = 0.1; ///< of what a good board shows
constexpr std::size_t kFewSamples = 20;

void add_flag(Evidence& e, const char* name, const char* text, bool seen, std::size_t count) {
    e.figures.push_back(analysis::measured(name, text, "", seen ? 1 : 0, 0, count, "seen or not"));
}

const capture::Samples* sampled(const capture::Observation& o, const char* name) {
    const auto at = o.channels.find(name);
    const bool enough = at != o.channels.end() && at->second.value.size() >= kFewSamples;
    return enough ? &at->second : nullptr;
}

/// Time a channel was sampled, without the holes between captures: the median step times samples.
double sampled_s(const capture::Samples& s) {
    return median_step_s(s) * static_cast<double>(s.value.size());
}

/// Robust against a spike: between the 1st and the 99th percentile.
double span(const capture::Samples& s) {
    std::vector<double> v = s.value;
    std::sort(v.begin(), v.end());
    return v[v.size() - 1 - v.size() / 100] - v[v.size() / 100];
}

double mean(const capture::Samples& s) {
    double sum = 0;
    for (const double v : s.value) {
        sum += v;
    }
    return sum / static_cast<double>(s.value.size());
}

double rms(const capture::Samples& s) {
    const double middle = mean(s);
    double sum = 0;
    for (const double v : s.value) {
        sum += (v - middle) * (v - middle);
    }
    return std::sqrt(sum / static_cast<double>(s.value.size()));
}

double expected(const Evidence& e, const char* name) {
    const auto at = e.expected.find(name);
    return at == e.expected.end() ? 0 : at->second.value;
}

void add_pulses(const capture::Observation& o, const capture::PulseTrain& train, double rate_hz,
                const char* channel, const char* name, const char* text, Evidence& e) {
    const std::size_t edges = std::max(train.rise_s.size(), train.fall_s.size());
    const capture::Samples* watched = sampled(o, channel);
    if ((o.imported && edges == 0) || watched == nullptr || !(rate_hz > 0)) {
        return;
    }
    const double least = kShare * rate_hz * sampled_s(*watched);
    add_flag(e, name, text, static_cast<double>(edges) >= std::max(least, 1.0), edges);
}

void add_current(const capture::Observation& o, const char* channel, const char* swing,
                 const char* name, const char* text, Evidence& e) {
    const capture::Samples* s = sampled(o, channel);
    const double pp = expected(e, swing);
    if (s == nullptr || !(pp > 0)) {
        return;
    }
    add_flag(e, name, text, rms(*s) >= kShare * pp / std::sqrt(12.0), s->value.size());
}

} // namespace

double median_step_s(const capture::Samples& s) {
    if (s.time_s.size() < 2) {
        return 0;
    }
    std::vector<double> steps;
    for (std::size_t i = 1; i < s.time_s.size(); ++i) {
        steps.push_back(s.time_s[i] - s.time_s[i - 1]);
    }
    const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    return *middle;
}

void add_facts(const capture::Observation& o, Evidence& e) {
    add_pulses(o, o.field_pulses, o.field_rate_hz, "v_yoke_a", "v_pulses_seen",
               "vertical retrace pulses seen", e);
    add_pulses(o, o.line_pulses, o.line_rate_hz, "h_yoke_a", "h_pulses_seen",
               "line retrace pulses seen", e);
    add_current(o, "v_yoke_a", "v_yoke_pp_a", "v_current_seen", "vertical yoke current seen", e);
    add_current(o, "h_yoke_a", "h_yoke_pp_a", "h_current_seen", "horizontal yoke current seen", e);
    const capture::Samples* out = sampled(o, "v_out_v");
    if (out != nullptr && expected(e, "supply_v") > 0) {
        add_flag(e, "v_output_moves", "vertical output moves",
                 span(*out) >= kShare * expected(e, "supply_v"), out->value.size());
        e.figures.push_back(analysis::measured("v_out_level_v", "vertical output node, mean", "V",
                                               mean(*out), 0, out->value.size(),
                                               "mean of samples"));
    }
}

} // namespace yokedock::diagnose
