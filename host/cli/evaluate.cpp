// SPDX-License-Identifier: MIT
#include "host/cli/evaluate.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

/// Intercept and slope through the points inside the window.
struct Line {
    double at_zero = 0;
    double slope = 0;
    bool ok = false;
};

Line straight_line(const analysis::RampPlot& ramp) {
    double n = 0;
    double sx = 0;
    double sy = 0;
    const auto inside = [&](std::size_t i) {
        return ramp.phase_s[i] >= ramp.window_begin_s && ramp.phase_s[i] <= ramp.window_end_s &&
               std::isfinite(ramp.fit[i]);
    };
    for (std::size_t i = 0; i < ramp.phase_s.size(); ++i) {
        if (inside(i)) {
            n += 1;
            sx += ramp.phase_s[i];
            sy += ramp.value[i];
        }
    }
    double sxx = 0;
    double sxy = 0;
    for (std::size_t i = 0; i < ramp.phase_s.size(); ++i) {
        if (inside(i)) {
            const double x = ramp.phase_s[i] - sx / n;
            sxx += x * x;
            sxy += x * (ramp.value[i] - sy / n);
        }
    }
    if (!(sxx > 0)) {
        return {};
    }
    const double slope = sxy / sxx;
    return {sy / n - slope * sx / n, slope, true};
}

report::RampPlot plot_of(const analysis::RampPlot& ramp) {
    const bool vertical = ramp.channel.substr(0, 2) == "v_";
    const double scale = vertical ? 1e3 : 1e6;
    report::RampPlot plot;
    plot.title = fmt::format("{} ramp ({})", vertical ? "Vertical" : "Horizontal", ramp.channel);
    plot.x_label = fmt::format("time after {}, {}", ramp.against_sync ? "sync" : "retrace",
                               vertical ? "ms" : "us");
    plot.y_label = fmt::format("load current, {}", ramp.unit);
    plot.y = ramp.value;
    const Line line = straight_line(ramp);
    double low = INFINITY;
    double high = -INFINITY;
    for (std::size_t i = 0; i < ramp.phase_s.size(); ++i) {
        plot.x.push_back(ramp.phase_s[i] * scale);
        if (line.ok) {
            plot.line.push_back(line.at_zero + line.slope * ramp.phase_s[i]);
        }
        if (std::isfinite(ramp.fit[i])) {
            low = std::min(low, ramp.fit[i]);
            high = std::max(high, ramp.fit[i]);
        }
    }
    plot.window_from = ramp.window_begin_s * scale;
    plot.window_to = ramp.window_end_s * scale;
    plot.peak_to_peak = line.ok && high > low ? high - low : 0;
    return plot;
}

} // namespace

Result<std::optional<record::Profile>> load_given_profile(const std::string& file) {
    if (file.empty()) {
        return std::optional<record::Profile>();
    }
    Result<record::Profile> loaded = record::load_profile(file);
    if (!loaded) {
        return loaded.error();
    }
    return std::optional(std::move(loaded).value());
}

analysis::AnalysisOptions analysis_options(const std::optional<record::Profile>& profile) {
    analysis::AnalysisOptions options;
    if (!profile) {
        return options;
    }
    const auto window = [](const record::ProfileAxis& axis) -> std::optional<analysis::SyncWindow> {
        if (!axis.visible_us) {
            return std::nullopt;
        }
        return analysis::SyncWindow{axis.visible_us->from * 1e-6, axis.visible_us->to * 1e-6};
    };
    options.vertical_window = window(profile->vertical);
    options.horizontal_window = window(profile->horizontal);
    options.vertical_s_q = profile->vertical.intended_s_q;
    options.horizontal_s_q = profile->horizontal.intended_s_q;
    return options;
}

Evaluation evaluate(const capture::Observation& observation,
                    const std::optional<record::Profile>& profile) {
    analysis::AnalysisResult result = analysis::analyse(observation, analysis_options(profile));
    Evaluation evaluation;
    evaluation.figures = std::move(result.figures);
    evaluation.warnings = std::move(result.warnings);
    for (const analysis::RampPlot& ramp : result.ramps) {
        evaluation.plots.push_back(plot_of(ramp));
    }
    return evaluation;
}

bool same_readings(const analysis::FigureSet& a, const analysis::FigureSet& b) {
    const auto measured = [](const analysis::Figure& f) {
        return f.status == analysis::FigureStatus::kMeasured;
    };
    return std::any_of(a.begin(), a.end(), measured) &&
           std::equal(a.begin(), a.end(), b.begin(), b.end(),
                      [&](const analysis::Figure& x, const analysis::Figure& y) {
                          return x.status == y.status && (!measured(x) || x.value == y.value);
                      });
}

} // namespace yokedock::cli
