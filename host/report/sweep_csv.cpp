// SPDX-License-Identifier: MIT
#include "host/report/sweep_csv.hpp"
#include "host/record/sweep_json.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

std::string quoted(const std::string& text) {
    std::string out = "\"";
    for (const char c : text) {
        out += c == '"' ? std::string("\"\"") : std::string(1, c);
    }
    return out + '"';
}

std::string number_if(bool measured, double value) {
    return measured && std::isfinite(value) ? fmt::format("{}", value) : "";
}

std::string row(std::size_t sweep, lock::SweepAxis axis, const lock::StepResult& r) {
    const bool locked = r.state == lock::BoardState::locked;
    const bool edges = r.board_hz > 0;
    return fmt::format(
        "{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{},{}\n", sweep,
        record::axis_word(axis), r.step.number, lock::word(r.step.part),
        record::approach_word(r.step.approach), r.time_s,
        number_if(r.step.rate_hz > 0, r.step.rate_hz), number_if(r.achieved_hz > 0, r.achieved_hz),
        number_if(r.other_rate_hz > 0, r.other_rate_hz), r.half_lines, quoted(lock::word(r.state)),
        number_if(edges, r.board_hz), number_if(edges, r.board_u_hz), number_if(locked, r.phase),
        number_if(locked, r.phase_u), number_if(edges, r.jitter_s),
        number_if(r.acquired_s >= 0, r.acquired_s), r.slips, r.edges, quoted(r.reason));
}

} // namespace

std::string sweep_csv(const record::SweepLog& log) {
    std::string out = "sweep,axis,step,part,approach,time_s,asked_hz,achieved_hz,other_rate_hz,"
                      "half_lines,state,board_hz,board_u_hz,phase_periods,phase_u_periods,jitter_s,"
                      "acquired_s,slips,edges,reason\n";
    for (std::size_t i = 0; i < log.runs.size(); ++i) {
        for (const lock::StepResult& step : log.runs[i].steps) {
            out += row(i, record::settings_of(log.header, i).axis, step);
        }
    }
    return out;
}

} // namespace yokedock::report
