// SPDX-License-Identifier: MIT
#include "host/capture/calibration_run.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/command.hpp"
#include "host/cli/power_up.hpp"
#include "host/cli/progress.hpp"
#include "host/record/calibration_file.hpp"
#include "host/report/calibration_report.hpp"
#include "host/report/text.hpp"
#include <cmath>
#include <filesystem>
#include <fmt/format.h>
#include <optional>
#include <ostream>

namespace yokedock::cli {
namespace {

using capture::Stated;
using record::CalibrationFile;

struct CalibrateCommand {
    std::string bench;
    std::string file;
    bool show = false;
    bool guide = false;
    bool store = false;
    double give_serial = 0;
    bool json = false;
    bool simulated = false;
    bool start_anew = false;
    std::string channel;
    std::optional<double> true_value;
    double true_u = 0;
    double seconds = 1;
    double clock_s = 0;
    double host_clock_ppm = 20;
    double reference_v = 0;
    double reference_u_v = 0;
    std::optional<double> trigger_ns;
    double trigger_u_ns = 0;
};

Error usage(std::string text) {
    return {ErrorKind::kUsage, std::move(text)};
}

Result<ChannelId> channel_of(const std::string& name) {
    std::string names;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        if (name == kChannels[i].name) {
            return static_cast<ChannelId>(i);
        }
        names += (i == 0 ? "" : ", ") + std::string(kChannels[i].name);
    }
    return usage(fmt::format("--channel is \"{}\", expected one of {}", name, names));
}

Status check_options(const CalibrateCommand& o) {
    if (!o.channel.empty()) {
        if (const auto channel = channel_of(o.channel); !channel) {
            return channel.error();
        }
        if (!o.true_value.has_value() || !(o.true_u > 0)) {
            return usage("--channel needs what is really there: --true VALUE and --true-u U, the "
                         "meter's or source's "
                         "standard uncertainty in the same unit, more than 0");
        }
    } else if (o.true_value.has_value()) {
        return usage("--true needs --channel NAME");
    }
    if (o.give_serial != 0 && !(o.give_serial >= 1 && o.give_serial <= 4294967294.0 &&
                                o.give_serial == std::floor(o.give_serial))) {
        return usage(fmt::format(
            "--give-serial is {}, expected a whole number from 1 to 4294967294", o.give_serial));
    }
    if (!(o.seconds >= 0.1 && o.seconds <= 30)) {
        return usage(fmt::format("--seconds is {}, expected 0.1 to 30", o.seconds));
    }
    if (o.clock_s != 0 && !(o.clock_s >= 5 && o.clock_s <= 100000)) {
        return usage(fmt::format("--clock-s is {}, expected 5 to 100000", o.clock_s));
    }
    if (!(o.host_clock_ppm > 0 && o.host_clock_ppm <= 1000)) {
        return usage(fmt::format("--host-clock-u-ppm is {}, expected more than 0, at most 1000",
                                 o.host_clock_ppm));
    }
    if (o.reference_v != 0 && !(o.reference_v >= 4 && o.reference_v <= 6 && o.reference_u_v > 0)) {
        return usage(fmt::format(
            "--adc-reference-v is {} with --adc-reference-u-v {}, expected 4 to 6 V and an "
            "uncertainty of more than 0",
            o.reference_v, o.reference_u_v));
    }
    if (o.trigger_ns && !(std::abs(*o.trigger_ns) <= 100000 && o.trigger_u_ns > 0)) {
        return usage("--trigger-delay-ns must be -100000 to 100000, with --trigger-delay-u-ns of "
                     "more than 0");
    }
    return Done{};
}

/// The bench gets its number: the file it is named by must go with it, or the next point would
/// begin a new file without the points of this one.
Status rename_file(const CalibrateCommand& o, const std::string& from, const std::string& to,
                   CalibrationFile& file) {
    if (!o.file.empty() || from == to) {
        return record::save_calibration(file, from);
    }
    if (const Status saved = record::save_calibration(file, to); !saved) {
        return saved;
    }
    std::error_code ignored; // what stays is of the number given, and refused for another bench
    std::filesystem::remove(from, ignored);
    return Done{};
}

std::string file_of(const CalibrateCommand& o, std::uint32_t serial) {
    return o.file.empty() ? fmt::format("yokedock-bench-{}.calibration.json", serial) : o.file;
}

/// The file there is, or a new one; refuses one of another bench.
Result<CalibrationFile> begin_file(const CalibrateCommand& o, const std::string& path,
                                   std::uint32_t serial) {
    CalibrationFile file;
    file.bench_serial = serial;
    if (!o.start_anew && std::filesystem::exists(path)) {
        auto loaded = record::load_calibration(path);
        if (!loaded) {
            return loaded.error();
        }
        file = std::move(loaded).value();
    }
    if (file.bench_serial != serial) {
        return Error{
            ErrorKind::kFile,
            fmt::format("{} is of bench {}, this is bench {}; name another file with --file", path,
                        file.bench_serial, serial)};
    }
    file.simulated = file.simulated || o.simulated;
    return file;
}

Status add_point(bench::Bench& bench, ChannelId channel, Stated truth, double seconds,
                 CalibrationFile& file, Seams& seams) {
    const auto reading = capture::read_input(bench, channel, seconds);
    if (!reading) {
        return reading.error();
    }
    if (file.points.size() >= record::kMostCalibrationPoints) {
        return usage(fmt::format("the file has {} points already; begin anew with --start-anew",
                                 file.points.size()));
    }
    std::vector<capture::CalibrationPoint> with = file.points;
    with.push_back({channel, truth, reading.value().volts, seams.utc_now()});
    // A point that cannot be right is not kept: it would spoil the others.
    if (const auto fitted = capture::fit_channel(channel, with, file.adc_reference_v); !fitted) {
        return fitted.error();
    }
    file.points = std::move(with);
    seams.err << fmt::format(
        "{}: {:.5f} V at the input (u {:.2g} V, {} readings, scatter {:.2g} V) stands for {} {}\n",
        kChannels[static_cast<std::size_t>(channel)].name, reading.value().volts.value,
        reading.value().volts.u, reading.value().count, reading.value().scatter_v, truth.value,
        kChannels[static_cast<std::size_t>(channel)].unit);
    return Done{};
}

Status compare_clock(const bench::Bench& bench, const CalibrateCommand& o, CalibrationFile& file,
                     Seams& seams) {
    Result<std::pair<capture::ClockReading, capture::ClockReading>> readings = usage("");
    {
        Progress progress(seams, "comparing");
        readings = capture::compare_clocks(bench, o.clock_s, seams.steady_s, [&](double part) {
            progress.show("clocks", part);
            return !seams.stop.stopped();
        });
    }
    if (!readings) {
        return readings.error();
    }
    const auto clock = capture::fit_clock(readings.value().first, readings.value().second,
                                          bench.identity().clock_hz, o.host_clock_ppm * 1e-6);
    if (!clock) {
        return clock.error();
    }
    if (std::abs(clock.value().value) > 0.02) {
        return Error{
            ErrorKind::kRefused,
            fmt::format(
                "the bench's clock runs {:+.3g} % off this computer's; expected less than 2 %; a "
                "virtual "
                "bench must run with --pace for this, and a bench that far off has a wrong crystal",
                100 * clock.value().value)};
    }
    file.clock_relative = clock.value();
    return Done{};
}

/// Parses "24.03" or "24.03 0.02"; nothing for an empty line.
std::optional<Stated> parse_reading(const std::string& line, std::string& problem) {
    problem.clear();
    Stated s;
    char rest = 0;
    const int got = std::sscanf(line.c_str(), "%lf %lf %c", &s.value, &s.u, &rest);
    if (got == 2 && s.u > 0) {
        return s;
    }
    problem = '"' + line.substr(0, 40) +
              "\" is no reading with its uncertainty, expected two numbers such as 24.03 0.02";
    return std::nullopt;
}

/// Channel by channel, as many points as the person gives.
Status guide(bench::Bench& bench, const CalibrateCommand& o, const std::string& path,
             CalibrationFile& file, Seams& seams) {
    if (!seams.in_is_terminal) {
        return usage("--guide asks on a terminal, and standard input is none; give points with "
                     "--channel, --true and "
                     "--true-u");
    }
    seams.err << report::paragraph("", "For each input: connect a known source, or a meter beside "
                                       "it, with the board's supply off and the board "
                                       "disconnected. Type what it really is and its standard "
                                       "uncertainty, with a space between; Enter alone goes "
                                       "on to the next input. Two points far apart tell gain and "
                                       "zero, one alone the gain. What is done is kept.");
    for (std::size_t i = 0; i < kChannelCount;) {
        const Channel& channel = kChannels[i];
        seams.err << fmt::format("{} ({}, in {}): value and uncertainty, or Enter: ", channel.name,
                                 channel.text, channel.unit)
                  << std::flush;
        const auto line = seams.read_line();
        if (!line) {
            return Error{ErrorKind::kStopped, "stopped; the points taken so far are in " + path};
        }
        if (line->find_first_not_of(" \t") == std::string::npos) {
            ++i;
            continue;
        }
        std::string problem;
        const auto truth = parse_reading(*line, problem);
        if (!truth) {
            seams.err << report::paragraph("  ", report::printable(problem));
            continue;
        }
        const Status added =
            add_point(bench, static_cast<ChannelId>(i), *truth, o.seconds, file, seams);
        if (!added && added.error().kind != ErrorKind::kUsage &&
            added.error().kind != ErrorKind::kRefused) {
            return added;
        }
        if (!added) {
            seams.err << report::paragraph("  ", report::printable(added.error().text));
            continue;
        }
        file.time_utc = seams.utc_now();
        if (const Status saved = record::save_calibration(file, path); !saved) {
            return saved;
        }
    }
    return Done{};
}

Status take(bench::Bench& bench, const CalibrateCommand& o, const std::string& path,
            CalibrationFile& file, Seams& seams) {
    if (o.reference_v != 0) {
        file.adc_reference_v = Stated{o.reference_v, o.reference_u_v};
    }
    if (o.trigger_ns) {
        file.trigger_delay_s = Stated{*o.trigger_ns * 1e-9, o.trigger_u_ns * 1e-9};
    }
    if (!o.channel.empty()) {
        const Status added = add_point(bench, channel_of(o.channel).value(),
                                       {*o.true_value, o.true_u}, o.seconds, file, seams);
        if (!added) {
            return added;
        }
    }
    if (o.clock_s > 0) {
        if (const Status compared = compare_clock(bench, o, file, seams); !compared) {
            return compared;
        }
    }
    return o.guide ? guide(bench, o, path, file, seams) : Status(Done{});
}

Status show_stored(const bench::Bench& bench, const CalibrateCommand& o, Seams& seams) {
    const auto stored = capture::read_stored(bench);
    if (!stored) {
        return stored.error();
    }
    const capture::Calibration& c = stored.value().calibration;
    seams.out << (o.json ? report::calibration_json(bench.identity().bench_serial, c)
                         : report::calibration_table(bench.identity().bench_serial, c))
              << std::flush;
    if (stored.value().damaged()) {
        seams.err << "warning: one of the bench's two copies is damaged (a cut while it was "
                     "written, or a flipped bit); "
                     "the other counts. Store the calibration again: yokedock calibrate --store\n";
    }
    return Done{};
}

Status store_file(const bench::Bench& bench, const CalibrateCommand& o, const std::string& path,
                  CalibrationFile& file, Seams& seams) {
    const std::string now = seams.utc_now();
    const auto results = record::results_of(file, record::seconds_of_utc(now).value_or(0));
    if (!results) {
        return results.error();
    }
    if (!results.value().any()) {
        return usage(path + " has nothing to store; take points first (yokedock calibrate --help)");
    }
    capture::Calibration calibration = results.value();
    if (bench.identity().bench_serial == 0) {
        if (o.give_serial == 0) {
            return usage(
                "this bench has no serial number yet; give it one of its own with --give-serial, "
                "so that its calibration and records are known by it");
        }
        calibration.serial = static_cast<std::uint32_t>(o.give_serial);
    }
    const std::string kept = file_of(o, calibration.serial);
    if (kept != path && std::filesystem::exists(kept)) {
        return Error{
            ErrorKind::kFile,
            fmt::format("{} exists, expected none of a bench that only now gets the number "
                        "{}; give another number, or move that file away",
                        kept, calibration.serial)};
    }
    if (const Status stored = capture::store(bench, calibration); !stored) {
        return stored;
    }
    file.bench_serial = calibration.serial;
    file.stored_utc = now;
    if (const Status saved = rename_file(o, path, kept, file); !saved) {
        return saved;
    }
    seams.err << "stored in the bench, and in " << kept << '\n';
    return Done{};
}

Result<ExitCode> run_calibrate(const CalibrateCommand& o, Seams& seams) {
    if (const Status good = check_options(o); !good) {
        return good.error();
    }
    const bool takes = !o.channel.empty() || o.clock_s > 0 || o.reference_v != 0 ||
                       o.trigger_ns.has_value() || o.guide;
    if (!takes && !o.store && !o.show) {
        return usage(
            "nothing to do: expected --show, --guide, --channel with --true and --true-u, "
            "--clock-s, "
            "--adc-reference-v, --trigger-delay-ns or --store; see yokedock calibrate --help");
    }
    Result<bench::Bench> opened = seams.open_bench(o.bench);
    if (!opened) {
        return opened.error();
    }
    bench::Bench& bench = opened.value();
    const PowerGuard off(bench, false, seams);
    if (const auto power = bench.power_off(); !power) { // inputs are calibrated with the board off
        return power.error();
    }
    const std::uint32_t serial = bench.identity().bench_serial;
    const std::string path = file_of(o, serial);
    if (takes || o.store) {
        auto file = begin_file(o, path, serial);
        if (!file) {
            return file.error();
        }
        if (takes) {
            const Status taken = take(bench, o, path, file.value(), seams);
            if (!taken) {
                return taken.error();
            }
            file.value().time_utc = seams.utc_now();
            if (const Status saved = record::save_calibration(file.value(), path); !saved) {
                return saved.error();
            }
            seams.err << fmt::format("calibration file: {}\n", path);
            if (!o.store) {
                seams.err << "not in the bench yet: yokedock calibrate --bench " << o.bench
                          << " --store\n";
            }
        }
        if (o.store) {
            if (const Status stored = store_file(bench, o, path, file.value(), seams); !stored) {
                return stored.error();
            }
        }
    }
    if (o.show) {
        if (const Status shown = show_stored(bench, o, seams); !shown) {
            return shown.error();
        }
    }
    return ExitCode::kGood;
}

} // namespace

void set_up_calibrate(Parser& app, Chosen& chosen) {
    const auto o = std::make_shared<CalibrateCommand>();
    Parser command = add_command<CalibrateCommand>(
        app, chosen, "calibrate",
        "Compare the bench's inputs and clock with a meter, a source, this computer", kGroupBench,
        o, run_calibrate);
    command.add_option("--bench", o->bench, "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH")
        .required();
    command.add_flag("--show", o->show, "show what the bench has stored");
    command.add_flag("--guide", o->guide, "ask for every input in turn");
    const std::string point = "One point";
    command.add_option("--channel", o->channel, "input whose reading is taken now").group(point);
    command.add_option("--true", o->true_value, "what is really there, in the channel's unit")
        .group(point);
    command.add_option("--true-u", o->true_u, "its standard uncertainty, in the same unit")
        .group(point);
    command.add_option("--seconds", o->seconds, "how long to read").show_default().group(point);
    const std::string rest = "Clock, reference, trigger";
    command
        .add_option("--clock-s", o->clock_s,
                    "compare the clocks over this time; 600 s or more is good")
        .group(rest);
    command
        .add_option("--host-clock-u-ppm", o->host_clock_ppm,
                    "standard uncertainty of this computer's clock (common practice, no source: 20 "
                    "without network time, 1 with it)")
        .show_default()
        .group(rest);
    command
        .add_option("--adc-reference-v", o->reference_v,
                    "converter reference, measured with a meter")
        .group(rest);
    command.add_option("--adc-reference-u-v", o->reference_u_v, "its standard uncertainty")
        .group(rest);
    command
        .add_option("--trigger-delay-ns", o->trigger_ns,
                    "sampling instant less the one the device tells")
        .group(rest);
    command.add_option("--trigger-delay-u-ns", o->trigger_u_ns, "its standard uncertainty")
        .group(rest);
    command.add_option("--file", o->file,
                       "the host's copy (default: yokedock-bench-SERIAL.calibration.json here)");
    command.add_flag("--start-anew", o->start_anew, "forget the points of an existing file");
    command.add_flag("--store", o->store, "write the results into the bench");
    command.add_option("--give-serial", o->give_serial,
                       "with --store, for a bench that has no serial number yet: 1 to 4294967294");
    command.add_flag("--simulated", o->simulated, "the bench is the virtual one: the file says so");
    command.add_flag("--json", o->json, "--show as JSON").group("Output");
    command.footer(
        "Example:\n"
        "  yokedock calibrate --bench tcp:127.0.0.1:4100 --channel v_yoke_a --true 0 --true-u "
        "0.001\n"
        "  yokedock calibrate --bench tcp:127.0.0.1:4100 --channel supply_v --true 24.03 "
        "--true-u 0.02 --store\n"
        "  yokedock calibrate --bench tcp:127.0.0.1:4100 --show\n\n" +
        caution_text());
}

} // namespace yokedock::cli
