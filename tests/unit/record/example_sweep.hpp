// SPDX-License-Identifier: MIT
#pragma once
#include "host/record/sweep_log.hpp"
#include "shared/sync/standards.hpp"
#include <string>

/// Settings of a short vertical sweep around 525/59.94.
inline yokedock::lock::SweepSettings example_settings() {
    using namespace yokedock;
    lock::SweepSettings s;
    s.axis = lock::SweepAxis::kVertical;
    s.sync = sync::kStandards[0].settings;
    s.nominal_hz = 60000.0 / 1001;
    s.low_hz = 50.25;
    s.high_hz = 70.5;
    s.step_hz = 0.5;
    s.resolution_hz = 0.1;
    s.dwell_s = 0.75;
    s.acquire_s = 2.5;
    s.returns = true;
    s.pull_in = true;
    return s;
}

inline yokedock::lock::StepResult example_step(std::uint32_t number, yokedock::lock::SweepPart part,
                                               double rate_hz, yokedock::lock::BoardState state,
                                               double phase) {
    using namespace yokedock;
    lock::StepResult r;
    r.step.number = number;
    r.step.part = part;
    r.step.approach = rate_hz > 0 ? lock::Approach::kFromLock : lock::Approach::kNoSync;
    r.step.rate_hz = rate_hz;
    r.step.from_hz = rate_hz > 0 ? 59.94 : 0;
    r.step.ramp_step_hz = 0.5;
    r.step.dwell_s = 0.75;
    r.step.acquire_s = 2.5;
    r.time_s = 1.0 / 3 * (number + 1);
    r.achieved_hz = rate_hz > 0 ? rate_hz + 1e-5 / 3 : 0;
    r.other_rate_hz = 4500000.0 / 286;
    r.half_lines = 525;
    r.state = state;
    r.reason = "phase steady, \"quoted\", within 0.2 % of a period";
    r.board_hz = rate_hz > 0 ? rate_hz : 57.25;
    r.board_u_hz = 1e-3 / 7;
    r.phase = phase;
    r.phase_u = 1e-4 / 3;
    r.jitter_s = 2.5e-6;
    r.acquired_s = state == lock::BoardState::locked ? 0.125 : -1;
    r.slips = state == lock::BoardState::slipping ? -3 : 0;
    r.edges = 45;
    return r;
}

/// A one-sided range, as a triggered oscillator has it: free run 57.25 Hz, held up to 66 Hz.
inline yokedock::record::SweepRun example_run() {
    using namespace yokedock;
    using lock::BoardState;
    using lock::SweepPart;
    record::SweepRun run;
    const auto add = [&run](SweepPart part, double rate_hz, BoardState state, double phase) {
        run.steps.push_back(example_step(static_cast<std::uint32_t>(run.steps.size()), part,
                                         rate_hz, state, phase));
    };
    add(SweepPart::free_run_before, 0, BoardState::free_running, 0);
    add(SweepPart::nominal, 59.94, BoardState::locked, 0.02);
    add(SweepPart::hold_down, 58.5, BoardState::locked, 0.99);
    add(SweepPart::hold_down, 57.5, BoardState::locked, 0.98);
    add(SweepPart::hold_down, 57.0, BoardState::slipping, 0);
    add(SweepPart::hold_up, 63, BoardState::locked, 0.06);
    add(SweepPart::hold_up, 66, BoardState::locked, 0.11);
    add(SweepPart::hold_up, 66.5, BoardState::slipping, 0);
    add(SweepPart::pull_in_down, 57.75, BoardState::locked, 0.985);
    add(SweepPart::free_run_after, 0, BoardState::no_pulse, 0);
    lock::SweepSummary summary;
    summary.settings = example_settings();
    summary.complete = true;
    summary.free_run_before =
        analysis::measured("v_free_run_hz", "free run", "Hz", 57.25, 0.0012, 42, "least squares");
    summary.free_run_after =
        analysis::not_measured("v_free_run_hz", "free run", "Hz", "there were no retrace pulses");
    summary.locks_at_nominal = true;
    summary.nominal_state = BoardState::locked;
    using lock::LimitStatus;
    summary.hold_low = {LimitStatus::kFound, 57.5, 57.4, -1, ""};
    summary.hold_high = {LimitStatus::kFound, 66, 66.1, -1, ""};
    summary.pull_in_low = {LimitStatus::kFound, 57.75, 57.7, 0.125, ""};
    summary.pull_in_high = {LimitStatus::kBeyond, 70.5, 0, 0.25, "still found at 70.5 Hz"};
    summary.return_low = {LimitStatus::kNone, 0, 0, -1, "never locked again below 59.94 Hz"};
    summary.return_high = {LimitStatus::kNotMeasured, 0, 0, -1, "the walk back was left out"};
    summary.findings = {"The set rate lies inside the hold range."};
    summary.flags = {"pull-in reaches beyond hold at the high side"};
    run.summary = summary;
    return run;
}

inline yokedock::record::SweepLogHeader example_header() {
    using namespace yokedock;
    record::SweepLogHeader header;
    header.tool_version = "0.1.0";
    header.time_utc = "2026-01-31T09:36:12Z";
    header.standard = "525/59.94";
    header.notes = {"hold control at the middle\nafter C401"};
    header.bench.identity = {1, 0, 3, 7, 4711, 16000000, 8, 24, 8, 10000000, 20000000, 2000, 3};
    header.bench.transport = "tcp";
    header.bench.address = "tcp:127.0.0.1:4100";
    header.bench.simulated = true;
    header.bench.clock_u_relative = 2e-5;
    header.sweeps = {example_settings()};
    return header;
}

inline yokedock::record::SweepLog example_log() {
    using namespace yokedock;
    record::SweepLog log;
    log.header = example_header();
    log.runs = {example_run()};
    log.events = {{record::SweepLogEvent::Kind::kStopped, "2026-01-31T09:40:00Z", "0.1.0",
                   "the link was lost"},
                  {record::SweepLogEvent::Kind::kResumed, "2026-01-31T09:50:00Z", "0.1.1",
                   "tcp:127.0.0.1:4100"}};
    return log;
}

/// The whole log as text: header, sweeps, then the events.
inline std::string text_of(const yokedock::record::SweepLog& log) {
    using namespace yokedock::record;
    std::string text = header_line(log.header);
    for (std::size_t i = 0; i < log.runs.size(); ++i) {
        for (const auto& step : log.runs[i].steps) {
            text += step_line(i, step);
        }
        if (log.runs[i].summary) {
            text += end_line(i, *log.runs[i].summary);
        }
    }
    for (const SweepLogEvent& event : log.events) {
        text += event_line(event);
    }
    return text;
}
