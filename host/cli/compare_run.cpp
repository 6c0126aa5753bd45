// SPDX-License-Identifier: MIT
#include "host/cli/compare_run.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/trip_record.hpp"
#include "host/report/compare_report.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

using diagnose::Measurement;

struct Analysed {
    Measurement measurement;
    std::vector<analysis::RampPlot> ramps;
    std::vector<std::string> warnings;
};

diagnose::Circumstances::Coil coil_of(const record::ProfileCoil& coil) {
    return {coil.inductance_h, coil.resistance_ohm, coil.tolerance_pct};
}

diagnose::Circumstances circumstances(const record::Record& record,
                                      const capture::Observation& observation) {
    diagnose::Circumstances under;
    under.standard = record.standard;
    under.line_rate_hz = observation.line_rate_hz;
    under.field_rate_hz = observation.field_rate_hz;
    under.sync_on = observation.sync_on;
    under.imported = record.imported.has_value();
    under.complete = record.complete;
    if (record.raw) {
        const capture::BenchInfo& bench = record.raw->bench;
        under.simulated = bench.simulated;
        under.calibrated = bench.calibrated_s != 0;
        if (bench.identity.bench_serial != 0) { // 0: none was given to it
            under.bench = fmt::format("bench {}", bench.identity.bench_serial);
        }
        under.scale = {bench.clock_relative, bench.clock_u_relative};
        for (const capture::ChannelScale& scale : bench.scale) {
            under.scale.insert(under.scale.end(),
                               {scale.zero_v, scale.volts_per_unit, scale.gain_u_relative,
                                scale.zero_u_v, scale.delay_s});
            under.calibrated = under.calibrated || scale.calibrated;
        }
    }
    if (record.profile) {
        under.board = record.profile->name;
        under.vertical_coil = coil_of(record.profile->vertical_yoke);
        under.horizontal_coil = coil_of(record.profile->horizontal_yoke);
    }
    return under;
}

/// windows: in: as the profile says; out: those of this record where that says nothing, when it is
/// the first.
Analysed analyse_record(const record::Record& record, const std::string& name, bool first,
                        analysis::AnalysisOptions& windows) {
    const capture::Observation observation = record::observation_of(record);
    analysis::AnalysisResult result = analysis::analyse(observation, windows);
    if (first) {
        const bool lacking = !windows.vertical_window || !windows.horizontal_window;
        windows = diagnose::windows_of(result, windows);
        if (lacking) { // once more over the window that all the others are judged over
            result = analysis::analyse(observation, windows);
        }
    }
    Analysed analysed;
    analysed.measurement.name = name;
    analysed.measurement.under = circumstances(record, observation);
    analysed.measurement.figures = std::move(result.figures);
    analysed.measurement.curves = std::move(result.curves);
    analysed.measurement.channels = diagnose::samplings_of(observation);
    analysed.ramps = std::move(result.ramps);
    for (const std::string& warning : result.warnings) {
        analysed.warnings.push_back(name + ": " + warning);
    }
    return analysed;
}

/// The same measurement twice would pass for a match, or for no spread.
Status check_distinct(const std::vector<const Measurement*>& all) {
    for (std::size_t i = 0; i < all.size(); ++i) {
        for (std::size_t k = 0; k < i; ++k) {
            if (same_readings(all[k]->figures, all[i]->figures)) {
                return Error{ErrorKind::kFile,
                             fmt::format("{} and {} hold the same measurement, expected different "
                                         "ones: it always matches itself; give another record",
                                         all[k]->name, all[i]->name)};
            }
        }
    }
    return Done{};
}

diagnose::CompareOptions compare_options(const CompareSettings& settings,
                                         const std::optional<record::Profile>& profile) {
    diagnose::CompareOptions options;
    const bool others = settings.reference_is.empty() ? settings.reference_files.size() > 1
                                                      : settings.reference_is == "other-boards";
    options.kind =
        others ? diagnose::ReferenceKind::kOtherBoards : diagnose::ReferenceKind::kSameBoard;
    options.same_instruments = settings.same_instruments;
    options.vertical = settings.axis != "horizontal";
    options.horizontal = settings.axis != "vertical";
    if (others && profile) { // a profile tells how boards of the type may differ, not one's runs
        for (const auto& [name, expected] : profile->expected) {
            options.tolerance[name] = expected.half_width();
        }
    }
    for (const std::string& words : settings.tolerances) {
        const auto equals = words.find('=');
        options.tolerance[words.substr(0, equals)] = *parse_number(words.substr(equals + 1));
    }
    return options;
}

report::OverlayPlot overlay(const diagnose::RampComparison& comparison,
                            const analysis::RampPlot& record, const analysis::RampPlot& reference,
                            const std::string& record_name, const std::string& reference_name) {
    const bool vertical = comparison.axis == diagnose::Axis::kVertical;
    const double scale = vertical ? 1e3 : 1e6;
    report::OverlayPlot plot;
    plot.title = fmt::format("{} ramp ({})", vertical ? "Vertical" : "Horizontal", record.channel);
    plot.x_label = fmt::format("time after {}, {}", record.against_sync ? "sync" : "retrace",
                               vertical ? "ms" : "us");
    plot.y_label = "load current, A";
    plot.record_name = record_name;
    plot.reference_name = reference_name;
    const auto scaled = [&](const std::vector<double>& phases) {
        std::vector<double> out;
        for (const double phase : phases) {
            out.push_back(phase * scale);
        }
        return out;
    };
    plot.record_x = scaled(record.phase_s);
    plot.record_y = record.value;
    plot.reference_x = scaled(reference.phase_s);
    plot.reference_y = reference.value;
    for (const double x : comparison.x) {
        plot.difference_x.push_back(
            scale * (comparison.window_begin_s +
                     (comparison.window_end_s - comparison.window_begin_s) * (x + 1) / 2));
    }
    plot.difference_pct = comparison.difference_pct;
    plot.shape_pct = comparison.shape_pct;
    return plot;
}

std::vector<report::OverlayPlot> overlays(const diagnose::Comparison& comparison,
                                          const Analysed& record, const Analysed& reference) {
    std::vector<report::OverlayPlot> plots;
    for (const diagnose::RampComparison& ramp : comparison.ramps) {
        const auto find = [&](const Analysed& analysed) -> const analysis::RampPlot* {
            const auto found =
                std::find_if(analysed.ramps.begin(), analysed.ramps.end(),
                             [&](const auto& plot) { return plot.channel == ramp.channel; });
            return found == analysed.ramps.end() ? nullptr : &*found;
        };
        const analysis::RampPlot* a = find(record);
        const analysis::RampPlot* b = find(reference);
        if (a != nullptr && b != nullptr && a->against_sync == b->against_sync) {
            plots.push_back(
                overlay(ramp, *a, *b, record.measurement.name, reference.measurement.name));
        }
    }
    return plots;
}

void print(const diagnose::Comparison& comparison, const std::vector<report::OverlayPlot>& plots,
           const std::vector<std::string>& warnings, const std::string& record_name,
           const OutputOptions& output, Seams& seams) {
    if (output.json) {
        seams.out << report::compare_json(comparison, record_name, warnings);
    } else {
        seams.out << report::compare_summary(comparison, record_name) << '\n'
                  << report::compare_conditions(comparison) << '\n'
                  << report::compare_ramps(comparison) << '\n'
                  << report::compare_table(comparison);
        if (output.plot) {
            for (const report::OverlayPlot& plot : plots) {
                seams.out << '\n' << report::terminal_plot(plot);
            }
            if (plots.empty()) {
                seams.out << "\nThere are no two ramps to lay over one another.\n";
            }
        }
    }
    seams.out.flush();
    for (const std::string& warning : warnings) {
        seams.err << report::paragraph("warning: ", report::printable(warning));
    }
}

} // namespace

void add_compare_options(Parser& command, CompareSettings& settings) {
    command
        .add_option("--reference-is", settings.reference_is,
                    "same-board: the references are this board's own, earlier; other-boards: good "
                    "boards of its type, so room is left for how they differ (default: one "
                    "reference is the same board, several are others)")
        .group("Compare");
    command
        .add_option("--axis", settings.axis,
                    "vertical, horizontal or both: what the verdict is about")
        .show_default()
        .group("Compare");
    command
        .add_flag("--same-instruments", settings.same_instruments,
                  "the same bench, or the same probe, shunt and oscilloscope settings, took all of "
                  "them, so their errors drop out; for files that do not tell")
        .group("Compare");
    command
        .add_option("--tolerance", settings.tolerances,
                    "FIGURE=VALUE: tolerance of a figure in its unit, in place of the default; may "
                    "be given again")
        .one_value_at_a_time()
        .group("Compare");
}

Status check_settings(const CompareSettings& settings) {
    if (!settings.reference_is.empty() && settings.reference_is != "same-board" &&
        settings.reference_is != "other-boards") {
        return Error{ErrorKind::kUsage,
                     fmt::format("--reference-is is {}, expected same-board or other-boards",
                                 settings.reference_is)};
    }
    if (settings.axis != "both" && settings.axis != "vertical" && settings.axis != "horizontal") {
        return Error{
            ErrorKind::kUsage,
            fmt::format("--axis is {}, expected vertical, horizontal or both", settings.axis)};
    }
    for (const std::string& words : settings.tolerances) {
        const auto equals = words.find('=');
        // NaN: no number. (g++ 12 takes an optional here for uninitialised.)
        const double value = equals == std::string::npos
                                 ? std::nan("")
                                 : parse_number(words.substr(equals + 1)).value_or(std::nan(""));
        const std::string name = words.substr(0, equals);
        if (!(value > 0) || !std::isfinite(value) ||
            diagnose::rule_of(name).way == diagnose::FigureRule::Way::kShown) {
            return Error{ErrorKind::kUsage,
                         fmt::format("--tolerance is {}, expected a figure that is judged and a "
                                     "number above 0, as in v_yoke_pp_a=0.02; yokedock compare "
                                     "--json lists the names",
                                     words)};
        }
    }
    return Done{};
}

Result<ExitCode> compare_record(const record::Record& record, const std::string& record_name,
                                const CompareSettings& settings, const OutputOptions& output,
                                Seams& seams) {
    std::optional<record::Profile> profile = settings.profile;
    analysis::AnalysisOptions windows;
    std::vector<Measurement> references;
    Analysed first;
    for (const std::string& file : settings.reference_files) {
        if (seams.stop.stopped()) {
            return Error{ErrorKind::kStopped, "stopped; nothing was compared"};
        }
        const Result<record::Record> loaded = record::load_record(file);
        if (!loaded) {
            return loaded.error();
        }
        if (const Status measured = refuse_trip_record(loaded.value(), file); !measured) {
            return measured.error();
        }
        if (references.empty()) {
            const record::Record& reference = loaded.value();
            profile = profile ? profile : reference.profile ? reference.profile : record.profile;
            windows = analysis_options(profile);
        }
        Analysed analysed = analyse_record(loaded.value(), file, references.empty(), windows);
        references.push_back(analysed.measurement);
        if (references.size() == 1) {
            first = std::move(analysed);
        }
    }
    const Analysed own = analyse_record(record, record_name, false, windows);
    std::vector<const Measurement*> all{&own.measurement};
    for (const Measurement& reference : references) {
        all.push_back(&reference);
    }
    if (const Status distinct = check_distinct(all); !distinct) {
        return distinct.error();
    }
    const diagnose::Comparison comparison =
        diagnose::compare(own.measurement, references, compare_options(settings, profile));
    std::vector<std::string> warnings = own.warnings;
    warnings.insert(warnings.end(), first.warnings.begin(), first.warnings.end());
    const auto plots = overlays(comparison, own, first);
    print(comparison, plots, warnings, record_name, output, seams);
    if (const Status drawn = draw_pictures(
            [&](report::PictureFormat format) { return report::gnuplot_program(plots, format); },
            !plots.empty(), output, seams);
        !drawn) {
        return drawn.error();
    }
    return comparison.verdict == diagnose::Verdict::kSame        ? ExitCode::kGood
           : comparison.verdict == diagnose::Verdict::kDifferent ? ExitCode::kVerdict
                                                                 : ExitCode::kCannotTell;
}

} // namespace yokedock::cli
