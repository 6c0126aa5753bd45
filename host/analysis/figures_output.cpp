// SPDX-License-Identifier: MIT
#include "host/analysis/figures.hpp"
#include "host/analysis/pulse.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kMicro = 1e6;

struct PulseFindings {
    Pulse pulse;
    const capture::Samples* samples = nullptr;
};

PulseFindings investigate(const Axis& axis, const AxisTiming& timing, const capture::Observation& o,
                          const char* channel) {
    PulseFindings f;
    f.samples = find_channel(o, channel);
    if (f.samples == nullptr) {
        f.pulse.problem = fmt::format("{} was not sampled", channel);
        return f;
    }
    const AxisFold folded = fold_axis(axis, timing, *f.samples);
    if (!folded.problem.empty()) {
        f.pulse.problem = folded.problem;
        return f;
    }
    f.pulse = measure_pulse(folded.fold);
    return f;
}

class Writer {
  public:
    Writer(const PulseFindings& found, const char* channel, AnalysisResult& result)
        : found_(found), channel_(channel), result_(result) {}

    void level(const char* name, const char* text, const Estimate& e, const char* method) {
        if (!found_.pulse.ok) {
            result_.figures.push_back(not_measured(name, text, "V", found_.pulse.problem));
            return;
        }
        const capture::Samples& s = *found_.samples;
        Figure f = measured(name, text, "V", e.value, e.u, found_.pulse.count, method);
        f.u_scale = std::hypot(s.zero_u, e.value * s.gain_u_relative);
        f.u = std::hypot(f.u, f.u_scale);
        mark_out_of_range(f, channel_, s);
        result_.figures.push_back(f);
    }

    void width(const char* name, const char* text, const Estimate& e, double clock_u,
               const char* method) {
        if (!found_.pulse.ok || std::isnan(e.value)) {
            result_.figures.push_back(not_measured(
                name, text, "us",
                found_.pulse.ok ? "the waveform does not fall below that level on both sides"
                                : found_.pulse.problem));
            return;
        }
        Figure f =
            measured(name, text, "us", e.value * kMicro, e.u * kMicro, found_.pulse.count, method);
        f.u_clock = f.value * clock_u;
        result_.figures.push_back(f);
    }

  private:
    const PulseFindings& found_;
    const char* channel_;
    AnalysisResult& result_;
};

void add_peak_ratio(const PulseFindings& f, const SupplyFacts& supply,
                    const capture::Samples* rail_samples, AnalysisResult& result) {
    const char* name = "v_out_peak_ratio";
    const char* text = "vertical output retrace peak over supply";
    const bool rail_ok = supply.rail.ok && rail_samples != nullptr && supply.rail.mean.value > 0;
    if (!f.pulse.ok || !rail_ok) {
        result.figures.push_back(not_measured(
            name, text, "", !f.pulse.ok ? f.pulse.problem : "supply_v was not sampled"));
        return;
    }
    const double rail = supply.rail.mean.value;
    const double ratio = f.pulse.peak.value / rail;
    const double own = std::hypot(f.pulse.peak.u / rail, ratio * supply.rail.mean.u / rail);
    const double gain =
        ratio * std::hypot(f.samples->gain_u_relative, rail_samples->gain_u_relative);
    const double zero = std::hypot(f.samples->zero_u, ratio * rail_samples->zero_u) / rail;
    Figure figure = measured(name, text, "", ratio, std::hypot(own, gain, zero), f.pulse.count,
                             "peak over mean rail");
    figure.u_scale = std::hypot(gain, zero);
    result.figures.push_back(figure);
}

} // namespace

void add_output_figures(const Axis& vertical, const AxisTiming& vertical_timing,
                        const Axis& horizontal, const AxisTiming& horizontal_timing,
                        const capture::Observation& o, const SupplyFacts& supply,
                        AnalysisResult& result) {
    const PulseFindings v = investigate(vertical, vertical_timing, o, "v_out_v");
    Writer field(v, "v_out_v", result);
    const double clock_u = o.clock_u_relative;
    field.level("v_out_max_v", "vertical output node, retrace peak", v.pulse.peak,
                "parabola through the places round the highest");
    field.level("v_out_min_v", "vertical output node, lowest", v.pulse.lowest,
                "lowest place of the period");
    add_peak_ratio(v, supply, find_channel(o, "supply_v"), result);
    field.width("v_out_pulse_us", "vertical output retrace pulse at 50 %", v.pulse.width_50_s,
                clock_u, "between median level and peak");
    const PulseFindings h = investigate(horizontal, horizontal_timing, o, "h_out_v");
    Writer line(h, "h_out_v", result);
    line.level("h_out_peak_v", "line output node, retrace peak", h.pulse.peak,
               "parabola through the places round the highest");
    line.level("h_out_min_v", "line output node, lowest", h.pulse.lowest,
               "lowest place of the period");
    line.width("h_out_width_50_us", "line output retrace pulse at 50 %", h.pulse.width_50_s,
               clock_u, "between median level and peak");
    line.width("h_out_width_10_us", "line output retrace pulse at 10 %", h.pulse.width_10_s,
               clock_u, "between median level and peak");
}

} // namespace yokedock::analysis
