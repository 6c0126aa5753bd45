// SPDX-License-Identifier: MIT
#include "host/capture/load_run.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/bench/wait_ready.hpp"
#include "host/capture/capture_run.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::capture {
namespace {

using bench::kCodeV;

constexpr std::uint8_t kPrescale = 5; // 500 kHz: the slowest that samples every line
constexpr double kRailOffV = 2;       // a rail below this is off: reservoirs are empty
constexpr double kContactS = 0.03;    // relays settle before the first step (firmware: kContactMs)
constexpr double kSpareS = 0.03;
constexpr std::size_t kLeastZero = 50;

CapturePhase phase_of(const bench::Bench& bench, ChannelId channel, double seconds) {
    CapturePhase phase{"load step", {}, seconds};
    phase.settings.adc_prescale_log2 = kPrescale;
    wire::ScheduleEntry& entry = phase.settings.schedule[phase.settings.entries++];
    entry.channel = static_cast<std::uint8_t>(channel);
    entry.first_place = static_cast<std::uint16_t>(2 * bench.plan()->half_line_ticks * 2 / 5);
    entry.step = 0;
    entry.places = 1;
    return phase;
}

double amps_of(std::uint16_t code, const ChannelScale& scale) {
    return (code * kCodeV - scale.zero_v) / scale.volts_per_unit;
}

/// Mean of the readings before the first step, and its uncertainty with the quantiser's.
Stated zero_of(const std::vector<double>& amps, double resolution_a) {
    double sum = 0;
    for (const double a : amps) {
        sum += a;
    }
    const auto n = static_cast<double>(amps.size());
    const double mean = sum / n;
    double squares = 0;
    for (const double a : amps) {
        squares += (a - mean) * (a - mean);
    }
    const double variance = squares / std::max(1.0, n - 1);
    const double noise = std::max(0.0, variance / (resolution_a * resolution_a) - 1.0 / 12);
    const double quantised = resolution_a / std::sqrt(12.0) * std::exp(-2 * M_PI * M_PI * noise);
    return {mean, std::hypot(std::sqrt(variance / n), quantised)};
}

Status ended_as_meant(const bench::Bench& bench) {
    const auto power = bench.power();
    if (!power) {
        return power.error();
    }
    if (power.value().step == static_cast<std::uint8_t>(wire::StepState::done)) {
        return Done{};
    }
    const auto cause = static_cast<wire::StopCause>(power.value().cause);
    return Error{ErrorKind::kRefused,
                 fmt::format("the load step ended before its time ({}), expected it to run to its "
                             "end; the drive is off; "
                             "look at what the cause names, then check again",
                             link::stop_cause_text(cause))};
}

/// Asks for the step. A rail that runs down and load relays that settle, after a run, are waited
/// for.
Result<wire::StepStarted> start_step(const bench::Bench& bench,
                                     const wire::StepSettings& settings) {
    using wire::StopCause;
    return bench::ask_until_ready(
               bench, [&] { return bench.step_load(settings); },
               [](StopCause cause) {
                   return cause == StopCause::rail_on || cause == StopCause::relays_settling
                              ? bench::kRailWaitS
                              : -1.0;
               })
        .answer;
}

} // namespace

Status ready_for_lines(bench::Bench& bench) {
    if (bench.plan()) {
        return Done{};
    }
    const auto set = bench.set_sync(sync::kStandards[0].settings);
    return set ? Status(Done{}) : Status(set.error());
}

double load_sample_period_s(const bench::Bench& bench) {
    return bench.plan() ? 2.0 *
                              (bench.plan()->half_line_ticks +
                               static_cast<double>(bench.plan()->half_line_numerator) /
                                   bench.plan()->half_line_denominator) /
                              bench.identity().clock_hz
                        : 0;
}

Result<LoadReading> run_load_step(bench::Bench& bench, const BenchInfo& info, const LoadRun& run) {
    if (const Status ready = ready_for_lines(bench); !ready) {
        return ready.error();
    }
    const ChannelId channel = run.horizontal ? ChannelId::h_yoke_a : ChannelId::v_yoke_a;
    const double clock_hz = bench.identity().clock_hz;
    const double period_ticks = static_cast<double>(run.on_ticks) + run.off_ticks;
    const double seconds = kContactS + run.periods * period_ticks / clock_hz + kSpareS;
    const auto& rail = kChannels[static_cast<std::size_t>(ChannelId::supply_v)];
    const auto rail_code =
        static_cast<std::uint16_t>(kRailOffV * rail.microvolts_per_unit * 1e-6 / kCodeV);
    TickAxis axis;
    // The step first: it ends a capture that runs. Its contacts take 30 ms to settle; samples until
    // then tell the zero.
    const auto started = start_step(bench, {static_cast<std::uint8_t>(run.horizontal ? 2 : 1),
                                            run.on_ticks, run.off_ticks, run.periods, rail_code});
    if (!started) {
        return started.error();
    }
    const std::uint32_t first_edge = started.value().first_edge;
    const CaptureOutcome outcome = run_capture(bench, phase_of(bench, channel, seconds), axis);
    if (outcome.error) {
        (void)bench.power_off();
        return *outcome.error;
    }
    if (const Status ended = ended_as_meant(bench); !ended) {
        return ended.error();
    }
    const RawCapture& raw = outcome.capture;
    const ChannelScale& scale = info.scale[static_cast<std::size_t>(channel)];
    LoadReading reading;
    reading.resolution_a = kCodeV / std::abs(scale.volts_per_unit);
    reading.gain_u_relative = scale.gain_u_relative;
    reading.lag_s = scale.delay_s;
    reading.clock_u_relative = info.clock_u_relative;
    reading.calibrated = scale.calibrated;
    const std::int64_t edge =
        raw.begin_ticks +
        static_cast<std::int32_t>(first_edge - static_cast<std::uint32_t>(raw.begin_ticks));
    std::vector<double> before;
    for (std::size_t i = 0; i < raw.samples.ticks.size(); ++i) {
        const double amps = amps_of(raw.samples.code[i], scale);
        const double since = static_cast<double>(raw.samples.ticks[i] + raw.aperture_ticks - edge);
        if (since < 0) {
            before.push_back(amps);
            continue;
        }
        const double period = std::floor(since / period_ticks);
        if (period < run.skip_periods || period >= run.periods) {
            continue;
        }
        const double delay = since - period * period_ticks;
        if (delay >= run.on_ticks && period + 1 >= run.periods) {
            continue; // no edge follows
        }
        reading.time_s.push_back((delay < run.on_ticks ? delay : delay - period_ticks) / clock_hz);
        reading.amps.push_back(amps);
    }
    // A slow link leaves no time before the first step: then the scale's own zero holds.
    const Stated zero = before.size() >= kLeastZero
                            ? zero_of(before, reading.resolution_a)
                            : Stated{0, scale.zero_u_v / std::abs(scale.volts_per_unit)};
    for (double& a : reading.amps) {
        a -= zero.value;
    }
    reading.zero_u_a = zero.u;
    const double ends[] = {amps_of(0, scale) - zero.value,
                           amps_of(kAdcCodes - 1, scale) - zero.value};
    reading.least_a = std::min(ends[0], ends[1]);
    reading.most_a = std::max(ends[0], ends[1]);
    return reading;
}

} // namespace yokedock::capture
