// SPDX-License-Identifier: MIT
#include "host/record/import.hpp"
#include "host/record/pulses.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

/// Between two files on the joined time axis.
constexpr double kPauseS = 1.0;
/// A retrace pulse smaller than this is no pulse on any board that works at 5 V or more.
constexpr double kLeastRetraceV = 1.0;
/// Retrace must span this many samples for its edges to mean something.
constexpr double kLeastSamplesPerRetrace = 4;

double mean_step(const std::vector<double>& time_s) {
    return (time_s.back() - time_s.front()) / static_cast<double>(time_s.size() - 1);
}

/// One code of the instrument: the smallest difference between values that occur; 0 when the values
/// lie so densely that no code shows (averaged or simulated data).
double resolution_of(std::vector<double> values) {
    constexpr double kMostCodes = 65536;
    std::sort(values.begin(), values.end());
    const double range = values.back() - values.front();
    double least = range;
    for (std::size_t i = 1; i < values.size(); ++i) {
        const double difference = values[i] - values[i - 1];
        // Printed decimals of one code may differ in the last digit: far below any code.
        if (difference > range / kMostCodes) {
            least = std::min(least, difference);
        } else if (difference > range * 1e-9) {
            return 0;
        }
    }
    return least;
}

/// Unknown names in the options would be ignored silently otherwise.
Status check_names(const ImportOptions& options, const std::vector<CsvTable>& tables) {
    const auto known = [](const std::string& name) {
        const auto& names = csv_channel_names();
        return name == "time_s" || std::find(names.begin(), names.end(), name) != names.end();
    };
    const auto check = [&](const std::string& name, const char* option) -> Status {
        if (!known(name)) {
            return Error{ErrorKind::kUsage,
                         fmt::format("{} names \"{}\", expected time_s or one of {}", option, name,
                                     fmt::join(csv_channel_names(), ", "))};
        }
        const bool used = name == "time_s" ||
                          std::any_of(tables.begin(), tables.end(), [&](const CsvTable& table) {
                              return std::count(table.names.begin(), table.names.end(), name) != 0;
                          });
        if (!used) {
            return Error{
                ErrorKind::kUsage,
                fmt::format("{} {}: no file has that column, expected one of the headers in the "
                            "files; check the spelling, also of blanks",
                            option, name)};
        }
        return Done{};
    };
    for (const auto& [name, header] : options.csv.column_headers) {
        if (const Status status = check(name, "--column"); !status) {
            return status;
        }
    }
    for (const auto& [name, factor] : options.csv.scales) {
        if (const Status status = check(name, "--scale"); !status) {
            return status;
        }
    }
    return Done{};
}

void append(std::vector<double>& to, const std::vector<double>& from) {
    to.insert(to.end(), from.begin(), from.end());
}

/// Only where retrace begins: the width at this threshold is not the comparator's, and the analysis
/// measures it on the waveform itself.
void add_pulses(capture::PulseTrain& train, const CsvTable& table,
                const std::vector<double>& value) {
    const std::vector<Pulse> pulses = find_pulses(table.time_s, value, false, kLeastRetraceV);
    for (const Pulse& pulse : pulses) {
        train.rise_s.push_back(pulse.begin_s);
    }
    // A slope of many samples is interpolated, well within a tenth of a step; a jump is not.
    train.resolution_s = std::max(typical_gap(pulses), mean_step(table.time_s) / 10);
}

void add_sync(Import& import, const CsvTable& table, const std::vector<double>& value,
              const std::string& file) {
    capture::SyncTimeline& sync = import.observation.sync;
    const capture::SyncTimeline found =
        read_sync(table.time_s, value, import.observation.line_rate_hz);
    if (found.line_start_s.empty() && found.field_start_s.empty()) {
        import.warnings.push_back(fmt::format(
            "{}: no sync could be read from sync_v; it needs a nominal line rate and steps of "
            "1.5 us at most",
            file));
    }
    append(sync.field_start_s, found.field_start_s);
    append(sync.line_start_s, found.line_start_s);
    sync.field_mid_line.insert(sync.field_mid_line.end(), found.field_mid_line.begin(),
                               found.field_mid_line.end());
    if (!found.field_start_s.empty()) {
        sync.vertical_sync_offset_s = found.vertical_sync_offset_s;
    }
    sync.resolution_s = std::max(sync.resolution_s, found.resolution_s);
    import.observation.sync_on |= !found.line_start_s.empty() || !found.field_start_s.empty();
}

void add_table(Import& import, const CsvTable& table, const std::string& file,
               const ImportOptions& options) {
    for (std::size_t i = 0; i < table.names.size(); ++i) {
        const std::string& name = table.names[i];
        const std::vector<double>& value = table.columns[i];
        if (name == "sync_v") {
            add_sync(import, table, value, file);
        } else if (name == "v_out_v" && options.field_rate_hz > 0 &&
                   // field retrace is a millisecond or less: 3 % of a field at the least
                   mean_step(table.time_s) * kLeastSamplesPerRetrace <
                       0.03 / options.field_rate_hz) {
            add_pulses(import.observation.field_pulses, table, value);
        } else if (name == "h_out_v" && options.line_rate_hz > 0 &&
                   mean_step(table.time_s) * kLeastSamplesPerRetrace <
                       0.15 / options.line_rate_hz) {
            add_pulses(import.observation.line_pulses, table, value);
        }
    }
}

/// Fewer periods than these leave rates and shapes in doubt; nothing may be measured at all.
void warn_if_short(Import& import, const CsvTable& table, const std::string& file,
                   const ImportOptions& options) {
    constexpr double kLeastFields = 6;
    constexpr double kLeastLines = 20;
    const double length_s = table.time_s.back() - table.time_s.front();
    const auto warn = [&](char axis, double rate_hz, double least, const char* what) {
        const bool concerned =
            std::any_of(table.names.begin(), table.names.end(), [&](const std::string& name) {
                return name.front() == axis && name.substr(1, 1) == "_" && name != "h_peak_v";
            });
        if (concerned && rate_hz > 0 && length_s * rate_hz < least) {
            import.warnings.push_back(fmt::format(
                "{}: {:.3g} ms hold {:.2g} {}, expected at least {:g}; capture a longer stretch",
                file, 1e3 * length_s, length_s * rate_hz, what, least));
        }
    };
    warn('v', options.field_rate_hz, kLeastFields, "fields");
    warn('h', options.line_rate_hz, kLeastLines, "lines");
}

/// Moves every table but the first behind the one before it.
void line_up(std::vector<CsvTable>& tables, capture::Observation& observation) {
    for (std::size_t i = 1; i < tables.size(); ++i) {
        const double end_s = tables[i - 1].time_s.back();
        const double shift_s = end_s + kPauseS - tables[i].time_s.front();
        for (double& time_s : tables[i].time_s) {
            time_s += shift_s;
        }
        const capture::Interval pause{end_s, tables[i].time_s.front()};
        observation.field_pulses.unwatched.push_back(pause);
        observation.line_pulses.unwatched.push_back(pause);
    }
}

/// A ramp goes through its codes evenly: many samples at the last one and few at those before it
/// mean that the instrument's range ended there.
bool stands_at_end(const capture::Samples& samples, double end) {
    constexpr double kPart = 0.02;
    constexpr double kOverOthers = 5;
    constexpr int kOthers = 3;
    double at_end = 0;
    double beside = 0;
    for (const double v : samples.value) {
        const double codes = std::abs(v - end) / samples.resolution;
        at_end += codes < 0.5 ? 1 : 0;
        beside += codes >= 0.5 && codes < kOthers + 0.5 ? 1.0 / kOthers : 0;
    }
    return at_end > kPart * static_cast<double>(samples.value.size()) &&
           at_end > kOverOthers * beside;
}

void warn_if_clipped(Import& import, const std::string& file) {
    for (const char* name : {"v_yoke_a", "h_yoke_a"}) {
        const auto found = import.observation.channels.find(name);
        if (found == import.observation.channels.end() || !(found->second.resolution > 0)) {
            continue;
        }
        const capture::Samples& samples = found->second;
        const auto [low, high] = std::minmax_element(samples.value.begin(), samples.value.end());
        for (const double end : {*low, *high}) {
            if (*high > *low && stands_at_end(samples, end)) {
                import.warnings.push_back(fmt::format(
                    "{}: {} stands at {:.4g} A for long, as where the instrument's range ends; "
                    "expected a ramp within it: choose a larger range and capture again, or take "
                    "size and shape for wrong",
                    file, name, end));
            }
        }
    }
}

Status add_channels(capture::Observation& observation, CsvTable& table, const std::string& file,
                    const ImportOptions& options) {
    for (std::size_t i = 0; i < table.names.size(); ++i) {
        if (observation.channels.count(table.names[i]) != 0) {
            return Error{
                ErrorKind::kFile,
                fmt::format("cannot import {}: {} is in an earlier file too, expected each "
                            "channel once; leave one out by --ignore or import apart",
                            file, table.names[i])};
        }
        capture::Samples& samples = observation.channels[table.names[i]];
        samples.time_s = table.time_s;
        samples.value = std::move(table.columns[i]);
        samples.resolution = resolution_of(samples.value);
        samples.gain_u_relative = options.gain_u_relative;
        samples.of_bench = false;
    }
    return Done{};
}

} // namespace

Result<Import> import_tables(std::vector<CsvTable> tables, const std::vector<std::string>& files,
                             const ImportOptions& options) {
    if (const Status names = check_names(options, tables); !names) {
        return names.error();
    }
    Import import;
    capture::Observation& observation = import.observation;
    observation.imported = true;
    observation.line_rate_hz = options.line_rate_hz;
    observation.field_rate_hz = options.field_rate_hz;
    observation.interlaced = options.interlaced;
    observation.clock_u_relative = options.clock_u_relative;
    for (std::size_t i = 0; i < tables.size(); ++i) {
        warn_if_short(import, tables[i], files[i], options);
    }
    line_up(tables, observation);
    for (std::size_t i = 0; i < tables.size(); ++i) {
        for (const std::string& warning : tables[i].warnings) {
            import.warnings.push_back(warning);
        }
        add_table(import, tables[i], files[i], options);
        if (const Status added = add_channels(observation, tables[i], files[i], options); !added) {
            return added.error();
        }
    }
    warn_if_clipped(import, fmt::format("{}", fmt::join(files, ", ")));
    return import;
}

Result<Import> import_csv(const std::vector<std::string>& paths, const ImportOptions& options) {
    std::vector<CsvTable> tables;
    for (const std::string& path : paths) {
        Result<CsvTable> table = read_csv(path, options.csv);
        if (!table) {
            return table.error();
        }
        tables.push_back(std::move(table).value());
    }
    return import_tables(std::move(tables), paths, options);
}

} // namespace yokedock::record
