// SPDX-License-Identifier: MIT
#include "host/capture/capture_run.hpp"
#include "host/bench/trip.hpp"
#include "host/capture/block_decoder.hpp"
#include "host/capture/block_reader.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::capture {
namespace {

constexpr link::Milliseconds kEmptyPause{2};
constexpr std::int64_t kQuietLines = 8; ///< longest normal silence of a per-line source

/// The capture ended without our asking: why.
Error left_capture(const bench::Bench& bench) {
    const auto trip = bench::ask_trip(bench, "live");
    if (trip && trip->tripped) {
        return {ErrorKind::kRefused, bench::trip_text(*trip)};
    }
    const auto status = bench.status();
    if (!status) {
        return status.error();
    }
    return {ErrorKind::kRefused,
            fmt::format("the bench left the capture by itself: its state is \"{}\", last stop: {}; "
                        "expected it to "
                        "sample until told to stop; look at the bench's supply and stop button, "
                        "then measure again",
                        link::state_text(static_cast<wire::BenchState>(status.value().state)),
                        link::stop_cause_text(static_cast<wire::StopCause>(status.value().cause)))};
}

/// Reads until device time `end`. Every poll without blocks asks the device for its time: a dead
/// board gives none, and the capture must end all the same.
std::optional<Error> read_until(const bench::Bench& bench, BlockReader& reader, TickAxis& axis,
                                std::int64_t begin, std::int64_t end, const PartDone& part_done) {
    while (axis.newest() < end) {
        const auto progress = reader.poll();
        if (!progress) {
            return progress.error();
        }
        if (!progress.value().capturing) {
            if (progress.value().delivered != 0) {
                continue; // what it kept until it stopped
            }
            return left_capture(bench);
        }
        if (progress.value().delivered == 0) {
            const auto status = bench.status();
            if (!status) {
                return status.error();
            }
            static_cast<void>(axis.unwrap(status.value().time));
            const Status paused = bench.requester().pause(kEmptyPause);
            if (!paused) {
                return paused.error();
            }
        }
        if (part_done) {
            const double part =
                static_cast<double>(axis.newest() - begin) / static_cast<double>(end - begin);
            part_done(std::min(1.0, part));
        }
    }
    return std::nullopt;
}

std::optional<Error> stop_and_drain(const bench::Bench& bench, BlockReader& reader,
                                    RawCapture& capture) {
    const auto stopped = bench.stop_capture();
    if (!stopped) {
        return stopped.error();
    }
    capture.words_dropped = stopped.value().words_dropped;
    const Status drained = reader.drain(stopped.value().blocks);
    return drained.ok() ? std::nullopt : std::optional<Error>(drained.error());
}

} // namespace

CaptureOutcome run_capture(const bench::Bench& bench, const CapturePhase& phase, TickAxis& axis,
                           const PartDone& part_done, const std::function<Status()>& on_start) {
    CaptureOutcome outcome;
    RawCapture& capture = outcome.capture;
    capture.purpose = phase.purpose;
    capture.settings = phase.settings;
    capture.sync_on = bench.sync_on();
    if (!bench.plan()) {
        outcome.error = Error{ErrorKind::kUsage,
                              "cannot capture: no sync was set in this session; expected one "
                              "(it times the samples, sent or not); set the sync first"};
        return outcome;
    }
    capture.plan = *bench.plan();
    const auto started = bench.start_capture(phase.settings);
    if (!started) {
        outcome.error = started.error();
        return outcome;
    }
    capture.aperture_ticks = started.value().aperture_ticks;
    capture.conversion_ticks = started.value().conversion_ticks;
    capture.begin_ticks = axis.unwrap(started.value().time);
    const std::int64_t wanted_end =
        capture.begin_ticks + std::llround(phase.seconds * bench.identity().clock_hz);

    BlockDecoder decoder(capture, axis);
    BlockReader reader(bench, [&](const wire::BlockHead& head, link::Bytes words) {
        decoder.add(head, words); // Requester passes only blocks of a known kind and the right size
    });
    if (on_start) {
        if (const Status switched = on_start(); !switched) {
            outcome.error = switched.error();
        }
    }
    if (!outcome.error) {
        outcome.error = read_until(bench, reader, axis, capture.begin_ticks, wanted_end, part_done);
    }
    if (!outcome.error) {
        outcome.error = stop_and_drain(bench, reader, capture);
    } else if (outcome.error->kind == ErrorKind::kStopped) {
        static_cast<void>(
            bench.stop_capture()); // leaves the bench quiet; its answer changes nothing here
    }
    capture.end_ticks = outcome.error ? std::min(axis.newest(), wanted_end) : wanted_end;
    decoder.finish(kQuietLines * 2 * capture.plan.half_line_ticks, outcome.error.has_value());
    return outcome;
}

} // namespace yokedock::capture
