// SPDX-License-Identifier: MIT
#include "host/record/sweep_json.hpp"
#include "host/record/figures_json.hpp"
#include "host/record/wire_json.hpp"
#include "shared/sync/plan.hpp"
#include <cmath>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;
using namespace lock;

/// No rate of a sweep is higher, no time of a step longer; more is damage.
constexpr double kMostHz = 1e6;
constexpr double kMostSeconds = 1e6;
constexpr double kLongestWaitS = 3600;
constexpr std::size_t kMostTexts = 100;

template <class Enum> struct Word {
    const char* word;
    Enum value;
};
constexpr Word<SweepAxis> kAxisWords[] = {{"vertical", SweepAxis::kVertical},
                                          {"horizontal", SweepAxis::kHorizontal}};
constexpr Word<Approach> kApproachWords[] = {{"no_sync", Approach::kNoSync},
                                             {"direct", Approach::kDirect},
                                             {"from_lock", Approach::kFromLock},
                                             {"from_no_lock", Approach::kFromNoLock},
                                             {"from_free_run", Approach::kFromFreeRun}};
constexpr Word<LimitStatus> kLimitWords[] = {{"found", LimitStatus::kFound},
                                             {"beyond", LimitStatus::kBeyond},
                                             {"none", LimitStatus::kNone},
                                             {"not_measured", LimitStatus::kNotMeasured}};

template <class Enum, std::size_t N> const char* word_of(const Word<Enum> (&table)[N], Enum value) {
    for (const Word<Enum>& row : table) {
        if (row.value == value) {
            return row.word;
        }
    }
    return ""; // the tables are complete
}

void complain_word(const Node& node, const std::string& is, const std::string& expected) {
    node.complain(Json(is.substr(0, 40)).dump(-1, ' ', true, Json::error_handler_t::replace),
                  expected);
}

template <class Enum, std::size_t N> Enum value_of(const Word<Enum> (&table)[N], const Node& node) {
    const std::string is = node.text();
    std::string expected;
    for (const Word<Enum>& row : table) {
        if (is == row.word) {
            return row.value;
        }
        expected += (expected.empty() ? "" : ", ") + std::string(row.word);
    }
    complain_word(node, is, "one of " + expected);
    return table[0].value;
}

BoardState state_from_json(const Node& node) {
    const std::string is = node.text();
    const auto state = board_state(is);
    if (!state) {
        complain_word(node, is, "a board state (see docs/sweep.md)");
    }
    return state.value_or(BoardState::undecided);
}

SweepPart part_from_json(const Node& node) {
    const std::string is = node.text();
    const auto part = sweep_part(is);
    if (!part) {
        complain_word(node, is, "a part of a sweep (see docs/sweep.md)");
    }
    return part.value_or(SweepPart::free_run_before);
}

/// JSON has no NaN: null says that there is no number.
Json number_or_null(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}

Json timed_or_null(double acquired_s) {
    return acquired_s >= 0 ? number_or_null(acquired_s) : Json(nullptr);
}

double timed_from_json(const Node& node) {
    const double value = node.number_or_null();
    if (value < 0) {
        node.complain(Json(value).dump(), "null or a time from 0");
    }
    return value >= 0 ? value : -1;
}

Json limit_to_json(const Limit& limit) {
    return {{"status", limit_word(limit.status)},
            {"locked_hz", limit.locked_hz},
            {"lost_hz", limit.lost_hz},
            {"acquired_s", timed_or_null(limit.acquired_s)},
            {"reason", limit.reason}};
}

Limit limit_from_json(const Node& node) {
    node.allow_only({"status", "locked_hz", "lost_hz", "acquired_s", "reason"});
    Limit limit;
    limit.status = value_of(kLimitWords, node.at("status"));
    limit.locked_hz = node.at("locked_hz").number(0, kMostHz);
    limit.lost_hz = node.at("lost_hz").number(0, kMostHz);
    limit.acquired_s = timed_from_json(node.at("acquired_s"));
    limit.reason = node.at("reason").text();
    return limit;
}

Json figure_or_null(const std::optional<analysis::Figure>& figure) {
    return figure ? figure_to_json(*figure) : Json(nullptr);
}

/// The key must be there even when its value is null: a lost key is damage, not "not measured".
std::optional<analysis::Figure> figure_from(const Node& node, const char* key) {
    (void)node.at(key);
    const auto figure = node.maybe(key);
    return figure ? std::optional(figure_from_json(*figure)) : std::nullopt;
}

std::vector<std::string> texts_from_json(const Node& node) {
    std::vector<std::string> out;
    for (const Node& element : node.elements(kMostTexts)) {
        out.push_back(element.text());
    }
    return out;
}

} // namespace

const char* axis_word(SweepAxis axis) {
    return word_of(kAxisWords, axis);
}
const char* approach_word(Approach approach) {
    return word_of(kApproachWords, approach);
}
const char* limit_word(LimitStatus status) {
    return word_of(kLimitWords, status);
}

Json sweep_settings_to_json(const SweepSettings& s) {
    return {{"axis", axis_word(s.axis)},
            {"sync", message_to_json(s.sync)},
            {"nominal_hz", s.nominal_hz},
            {"low_hz", s.low_hz},
            {"high_hz", s.high_hz},
            {"step_hz", s.step_hz},
            {"resolution_hz", s.resolution_hz},
            {"dwell_s", s.dwell_s},
            {"acquire_s", s.acquire_s},
            {"returns", s.returns},
            {"pull_in", s.pull_in}};
}

SweepSettings sweep_settings_from_json(const Node& node, std::uint32_t clock_hz) {
    node.allow_only({"axis", "sync", "nominal_hz", "low_hz", "high_hz", "step_hz", "resolution_hz",
                     "dwell_s", "acquire_s", "returns", "pull_in"});
    constexpr double kLeastHz = 1e-6;
    SweepSettings s;
    s.axis = value_of(kAxisWords, node.at("axis"));
    const Node sync = node.at("sync");
    s.sync = message_from_json<wire::SyncSettings>(sync);
    if (!node.failed() && !sync::make_plan(s.sync, clock_hz).ok) {
        sync.complain("no sync that a bench can make", "settings within its limits");
    }
    s.nominal_hz = node.at("nominal_hz").number(kLeastHz, kMostHz);
    s.low_hz = node.at("low_hz").number(0, s.nominal_hz);
    s.high_hz = node.at("high_hz").number(s.nominal_hz, kMostHz);
    s.step_hz = node.at("step_hz").number(kLeastHz, kMostHz);
    s.resolution_hz = node.at("resolution_hz").number(kLeastHz, kMostHz);
    s.dwell_s = node.at("dwell_s").number(0, kLongestWaitS);
    s.acquire_s = node.at("acquire_s").number(0, kLongestWaitS);
    s.returns = node.at("returns").boolean();
    s.pull_in = node.at("pull_in").boolean();
    return s;
}

Json step_result_to_json(const StepResult& r) {
    return {{"number", r.step.number},
            {"part", word(r.step.part)},
            {"approach", approach_word(r.step.approach)},
            {"rate_hz", r.step.rate_hz},
            {"from_hz", r.step.from_hz},
            {"ramp_step_hz", r.step.ramp_step_hz},
            {"dwell_s", r.step.dwell_s},
            {"acquire_s", r.step.acquire_s},
            {"time_s", r.time_s},
            {"achieved_hz", r.achieved_hz},
            {"other_rate_hz", r.other_rate_hz},
            {"half_lines", r.half_lines},
            {"state", word(r.state)},
            {"reason", r.reason},
            {"board_hz", number_or_null(r.board_hz)},
            {"board_u_hz", number_or_null(r.board_u_hz)},
            {"phase_periods", number_or_null(r.phase)},
            {"phase_u_periods", number_or_null(r.phase_u)},
            {"jitter_s", number_or_null(r.jitter_s)},
            {"acquired_s", timed_or_null(r.acquired_s)},
            {"slips", r.slips},
            {"edges", r.edges}};
}

StepResult step_result_from_json(const Node& node) {
    constexpr std::uint32_t kMost = std::numeric_limits<std::uint32_t>::max();
    StepResult r;
    r.step.number = node.at("number").integer<std::uint32_t>(0, kMost);
    r.step.part = part_from_json(node.at("part"));
    r.step.approach = value_of(kApproachWords, node.at("approach"));
    r.step.rate_hz = node.at("rate_hz").number(0, kMostHz);
    r.step.from_hz = node.at("from_hz").number(0, kMostHz);
    r.step.ramp_step_hz = node.at("ramp_step_hz").number(0, kMostHz);
    r.step.dwell_s = node.at("dwell_s").number(0, kLongestWaitS);
    r.step.acquire_s = node.at("acquire_s").number(0, kLongestWaitS);
    r.time_s = node.at("time_s").number(0, kMostSeconds);
    r.achieved_hz = node.at("achieved_hz").number(0, kMostHz);
    r.other_rate_hz = node.at("other_rate_hz").number(0, kMostHz);
    r.half_lines = node.at("half_lines").integer<std::uint16_t>(0, UINT16_MAX);
    r.state = state_from_json(node.at("state"));
    r.reason = node.at("reason").text();
    r.board_hz = node.at("board_hz").number_or_null();
    r.board_u_hz = node.at("board_u_hz").number_or_null();
    r.phase = node.at("phase_periods").number_or_null();
    r.phase_u = node.at("phase_u_periods").number_or_null();
    r.jitter_s = node.at("jitter_s").number_or_null();
    r.acquired_s = timed_from_json(node.at("acquired_s"));
    r.slips = node.at("slips").integer<long>(-1'000'000'000, 1'000'000'000);
    r.edges = node.at("edges").integer<std::uint32_t>(0, kMost);
    return r;
}

Json sweep_summary_to_json(const SweepSummary& s) {
    return {{"complete", s.complete},
            {"free_run_before", figure_or_null(s.free_run_before)},
            {"free_run_after", figure_or_null(s.free_run_after)},
            {"locks_at_nominal", s.locks_at_nominal},
            {"nominal_state", word(s.nominal_state)},
            {"hold_low", limit_to_json(s.hold_low)},
            {"hold_high", limit_to_json(s.hold_high)},
            {"pull_in_low", limit_to_json(s.pull_in_low)},
            {"pull_in_high", limit_to_json(s.pull_in_high)},
            {"return_low", limit_to_json(s.return_low)},
            {"return_high", limit_to_json(s.return_high)},
            {"findings", s.findings},
            {"flags", s.flags}};
}

SweepSummary sweep_summary_from_json(const Node& node, const SweepSettings& settings) {
    node.allow_only({"complete", "free_run_before", "free_run_after", "locks_at_nominal",
                     "nominal_state", "hold_low", "hold_high", "pull_in_low", "pull_in_high",
                     "return_low", "return_high", "findings", "flags"});
    SweepSummary s;
    s.settings = settings;
    s.complete = node.at("complete").boolean();
    s.free_run_before = figure_from(node, "free_run_before");
    s.free_run_after = figure_from(node, "free_run_after");
    s.locks_at_nominal = node.at("locks_at_nominal").boolean();
    s.nominal_state = state_from_json(node.at("nominal_state"));
    s.hold_low = limit_from_json(node.at("hold_low"));
    s.hold_high = limit_from_json(node.at("hold_high"));
    s.pull_in_low = limit_from_json(node.at("pull_in_low"));
    s.pull_in_high = limit_from_json(node.at("pull_in_high"));
    s.return_low = limit_from_json(node.at("return_low"));
    s.return_high = limit_from_json(node.at("return_high"));
    s.findings = texts_from_json(node.at("findings"));
    s.flags = texts_from_json(node.at("flags"));
    return s;
}

} // namespace yokedock::record
