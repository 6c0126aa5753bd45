// SPDX-License-Identifier: MIT
#include "host/capture/measurement.hpp"
#include "host/bench/trip.hpp"
#include "host/capture/calibration_run.hpp"
#include <fmt/format.h>

namespace yokedock::capture {

ChannelScale nominal_scale(ChannelId channel) {
    const Channel& row = kChannels[static_cast<std::size_t>(channel)];
    ChannelScale scale;
    scale.zero_v = row.zero_mv * 1e-3;
    scale.volts_per_unit = row.law == ChannelLaw::kLinear ? row.microvolts_per_unit * 1e-6 : 1.0;
    scale.gain_u_relative = row.gain_tolerance_ppm * 1e-6;
    scale.zero_u_v = row.zero_tolerance_uv * 1e-6;
    scale.delay_s = row.input_lag_ns * 1e-9;
    return scale;
}

BenchInfo make_bench_info(const bench::Bench& bench, bool simulated) {
    BenchInfo info;
    info.identity = bench.identity();
    info.transport = bench.transport_kind();
    info.address = bench.address();
    info.simulated = simulated;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        info.scale[i] = nominal_scale(static_cast<ChannelId>(i));
    }
    if (const auto stored = read_stored(bench); stored && stored.value().whole) {
        apply(stored.value().calibration, info);
    } // else nominal, and every table says so; a lost link shows at the next request
    return info;
}

MeasureOutcome run_measurement(const bench::Bench& bench, const MeasureOptions& options,
                               const ProgressCallback& progress) {
    MeasureOutcome outcome;
    RawMeasurement& measurement = outcome.measurement;
    measurement.bench = make_bench_info(bench, options.simulated);
    const auto phases = measurement_phases(bench.plan().value_or(wire::SyncAchieved{}),
                                           options.seconds, options.guarding);
    const double total = total_seconds(phases);
    if (!(total <= kMaxBenchSeconds)) {
        outcome.error = Error{
            ErrorKind::kUsage,
            fmt::format("a measurement of {:.2f} s was asked for; expected at most {} s of bench "
                        "time; shorten its phases",
                        total, kMaxBenchSeconds)};
        measurement.complete = false;
        return outcome;
    }
    TickAxis axis;
    double before = 0;
    const auto cut_off = [&](const Error& error) {
        outcome.error = error;
        measurement.complete = false;
        measurement.notes.push_back("cut off: " + error.text);
    };
    const auto live = [&] {
        return options.guarding == Guarding::kWatched ? bench::still_live(bench) : Status(Done{});
    };
    if (const Status settled = live(); !settled) {
        cut_off(settled.error());
        return outcome;
    }
    for (const CapturePhase& phase : phases) {
        CaptureOutcome each = run_capture(bench, phase, axis, [&](double part) {
            if (progress) {
                progress({phase.purpose, (before + part * phase.seconds) / total});
            }
        });
        before += phase.seconds;
        if (each.capture.end_ticks > each.capture.begin_ticks) {
            measurement.captures.push_back(std::move(each.capture));
        }
        if (each.error) {
            cut_off(*each.error);
            break;
        }
        if (const Status still = live(); !still) {
            cut_off(still.error());
            break;
        }
    }
    if (!measurement.captures.empty()) {
        outcome.bench_seconds = static_cast<double>(measurement.captures.back().end_ticks -
                                                    measurement.captures.front().begin_ticks) /
                                bench.identity().clock_hz;
    }
    return outcome;
}

} // namespace yokedock::capture
