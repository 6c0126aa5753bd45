// SPDX-License-Identifier: MIT
#include "host/capture/calibration_run.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/capture/capture_run.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::capture {
namespace {

using bench::kCodeV;

constexpr std::uint8_t kPrescale = 6; // 250 kHz: the most accurate
constexpr int kQuestions = 20;
constexpr link::Milliseconds kPause{5};

/// Mean of readings and its uncertainty. Noise of less than a third of a code leaves the
/// quantiser's error in the mean: then the step's own spread is added.
InputReading mean_of(const std::vector<std::uint16_t>& codes) {
    InputReading reading;
    double sum = 0;
    for (const std::uint16_t code : codes) {
        sum += code;
    }
    const auto n = static_cast<double>(codes.size());
    const double mean = sum / n;
    double squares = 0;
    for (const std::uint16_t code : codes) {
        squares += (code - mean) * (code - mean);
    }
    const double sd = std::sqrt(squares / std::max(1.0, n - 1));
    // The quantiser's mean error, damped by noise: first term of its Fourier series, at the phase
    // that is worst.
    const double noise = std::sqrt(std::max(0.0, sd * sd - 1.0 / 12));
    const double quantised = std::exp(-2 * M_PI * M_PI * noise * noise) / std::sqrt(12.0);
    reading.volts = {mean * kCodeV, std::hypot(sd / std::sqrt(n), quantised) * kCodeV};
    reading.scatter_v = sd * kCodeV;
    reading.count = codes.size();
    return reading;
}

Error at_end(ChannelId channel, std::uint16_t code) {
    const char* name = kChannels[static_cast<std::size_t>(channel)].name;
    return {ErrorKind::kRefused,
            fmt::format("{} reads code {}, an end of the converter's range 0 to {}; expected a "
                        "reading inside it; look at "
                        "the plug and the polarity, and choose a value well inside the range",
                        name, code, kAdcCodes - 1)};
}

Result<ClockReading> read_clock(const bench::Bench& bench, TickAxis& axis,
                                const std::function<double()>& host_s) {
    ClockReading best;
    best.half_trip_s = INFINITY;
    for (int i = 0; i < kQuestions; ++i) {
        const double asked_s = host_s();
        const auto status = bench.status();
        const double answered_s = host_s();
        if (!status) {
            return status.error();
        }
        const std::int64_t ticks = axis.unwrap(status.value().time);
        const double half_s = (answered_s - asked_s) / 2;
        if (half_s < best.half_trip_s) {
            best = {asked_s + half_s, half_s, ticks};
        }
    }
    return best;
}

} // namespace

Result<InputReading> read_input(bench::Bench& bench, ChannelId channel, double seconds) {
    if (!bench.plan()) {
        if (const auto set = bench.set_sync(sync::kStandards[0].settings); !set) {
            return set.error();
        }
    }
    CapturePhase phase{"calibration", {}, seconds};
    phase.settings.adc_prescale_log2 = kPrescale;
    wire::ScheduleEntry& entry = phase.settings.schedule[phase.settings.entries++];
    entry.channel = static_cast<std::uint8_t>(channel);
    entry.first_place = static_cast<std::uint16_t>(2 * bench.plan()->half_line_ticks * 2 / 5);
    entry.step = 0;
    entry.places = 1;
    TickAxis axis;
    const CaptureOutcome outcome = run_capture(bench, phase, axis);
    if (outcome.error) {
        return *outcome.error;
    }
    const std::vector<std::uint16_t>& codes = outcome.capture.samples.code;
    if (codes.size() < 100) {
        return Error{
            ErrorKind::kRefused,
            fmt::format("only {} readings came, expected hundreds; try again", codes.size())};
    }
    const auto [least, most] = std::minmax_element(codes.begin(), codes.end());
    if (*least == 0 || *most >= kAdcCodes - 1) {
        return at_end(channel, *least == 0 ? *least : *most);
    }
    return mean_of(codes);
}

Result<std::pair<ClockReading, ClockReading>>
compare_clocks(const bench::Bench& bench, double seconds, const std::function<double()>& host_s,
               const std::function<bool(double)>& keep_going) {
    TickAxis axis;
    const auto begin = read_clock(bench, axis, host_s);
    if (!begin) {
        return begin.error();
    }
    double told_s = host_s();
    while (host_s() - begin.value().host_s < seconds) {
        if (const Status paused = bench.requester().pause(kPause); !paused) {
            return paused.error();
        }
        const auto status =
            bench.status(); // the session stays alive, and the tick count is followed
        if (!status) {
            return status.error();
        }
        (void)axis.unwrap(status.value().time);
        if (host_s() - told_s > 1) {
            told_s = host_s();
            if (!keep_going((told_s - begin.value().host_s) / seconds)) {
                return Error{ErrorKind::kStopped, "stopped"};
            }
        }
    }
    const auto end = read_clock(bench, axis, host_s);
    if (!end) {
        return end.error();
    }
    return std::pair{begin.value(), end.value()};
}

bool StoredCalibration::damaged() const {
    for (unsigned copy = 0; copy < 2; ++copy) {
        if ((copies & (1u << copy)) == 0 && (copies & (0x10u << copy)) == 0) {
            return true;
        }
    }
    return false;
}

Result<StoredCalibration> read_stored(const bench::Bench& bench) {
    const auto answer = bench.read_calibration();
    if (!answer) {
        return answer.error();
    }
    StoredCalibration stored;
    stored.copies = answer.value().copies;
    stored.whole = answer.value().newest != 0;
    if (stored.whole) {
        stored.calibration = from_wire(answer.value().calibration);
        if (bench.identity().bench_serial != 0 &&
            stored.calibration.serial != bench.identity().bench_serial) {
            return Error{ErrorKind::kRefused,
                         fmt::format("the bench has serial {} and a calibration of bench {} "
                                     "stored; expected its own; "
                                     "calibrate it anew (yokedock calibrate --help)",
                                     bench.identity().bench_serial, stored.calibration.serial)};
        }
    }
    return stored;
}

Status store(const bench::Bench& bench, const Calibration& calibration) {
    const std::uint32_t is = bench.identity().bench_serial; // 0: it has none yet
    if (is != 0 && calibration.serial != is) {
        return Error{
            ErrorKind::kRefused,
            fmt::format("the calibration is of bench {}, this is bench {}; nothing was stored",
                        calibration.serial, bench.identity().bench_serial)};
    }
    const auto wanted = to_wire(calibration);
    if (!wanted) {
        return wanted.error();
    }
    auto state = bench.write_calibration(wanted.value());
    while (state && state.value().left != 0) {
        if (const Status paused = bench.requester().pause(kPause); !paused) {
            return paused.error();
        }
        state = bench.store_state();
    }
    if (!state) {
        return state.error();
    }
    const auto kept = bench.read_calibration();
    if (!kept) {
        return kept.error();
    }
    constexpr std::size_t kSize = wire::wire_size<wire::Calibration>();
    std::array<std::uint8_t, kSize> sent{};
    std::array<std::uint8_t, kSize> read{};
    wire::write_fields(wanted.value(), sent.data(), kSize);
    wire::write_fields(kept.value().calibration, read.data(), kSize);
    if (kept.value().newest == 0 || sent != read) {
        return Error{
            ErrorKind::kRefused,
            "the bench read back another calibration than was sent; store it again, and if "
            "it stays so its EEPROM is worn out"};
    }
    return Done{};
}

} // namespace yokedock::capture
