// SPDX-License-Identifier: MIT
#include "host/record/sweep_json.hpp"
#include "host/record/sweep_log.hpp"
#include "host/record/wire_json.hpp"
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr const char* kWhat = "sweep log";
constexpr std::size_t kMostSweeps = 1000;
constexpr std::size_t kMostTurns = 1'000'000;
constexpr std::size_t kMostNotes = 1000;

SweepBenchInfo bench_from_json(const Node& node) {
    node.allow_only({"transport", "address", "simulated", "clock_u_relative", "identity"});
    SweepBenchInfo bench;
    bench.transport = node.at("transport").text();
    bench.address = node.at("address").text();
    bench.simulated = node.at("simulated").boolean();
    bench.clock_u_relative = node.at("clock_u_relative").number(0, 1);
    const Node identity = node.at("identity");
    bench.identity = message_from_json<wire::IdentifyAnswer>(identity);
    (void)identity.at("clock_hz").integer<std::uint32_t>(1'000'000, 1'000'000'000);
    return bench;
}

void check_word(const Node& root, const char* key, const char* expected) {
    const Node place = root.at(key);
    if (const std::string is = place.text(); is != expected) {
        place.complain('"' + is.substr(0, 40) + '"', '"' + std::string(expected) + '"');
    }
}

SweepLogHeader header_from_json(const Node& root, ReadContext& context) {
    check_word(root, "format", kSweepLogFormat);
    check_word(root, "kind", "header");
    check_schema(root, kSweepLogSchema, context);
    root.allow_only({"kind", "format", "schema", "tool_version", "time_utc", "standard", "notes",
                     "bench", "repeats", "sweeps", "power"});
    SweepLogHeader header;
    header.tool_version = root.at("tool_version").text();
    header.time_utc = root.at("time_utc").text();
    header.standard = root.at("standard").text();
    for (const Node& note : root.at("notes").elements(kMostNotes)) {
        header.notes.push_back(note.text());
    }
    header.bench = bench_from_json(root.at("bench"));
    header.repeats = root.at("repeats").boolean();
    if (const auto power = root.maybe("power")) {
        header.power = power_from_json(*power);
    }
    const Node sweeps = root.at("sweeps");
    for (const Node& settings : sweeps.elements(kMostSweeps)) {
        header.sweeps.push_back(sweep_settings_from_json(settings, header.bench.identity.clock_hz));
    }
    if (header.sweeps.empty()) {
        sweeps.complain("empty", "at least one sweep");
    }
    return header;
}

/// Takes the lines after the header, one by one, and checks that they follow from each other.
class LineTaker {
  public:
    explicit LineTaker(SweepLog& log) : log_(log) {}

    void take(const Node& root) {
        const Node kind = root.at("kind");
        const std::string is = kind.text();
        if (is == "step") {
            take_step(root);
        } else if (is == "end") {
            take_end(root);
        } else if (is == "stopped") {
            take_event(root, SweepLogEvent::Kind::kStopped);
        } else if (is == "resumed") {
            take_event(root, SweepLogEvent::Kind::kResumed);
        } else {
            kind.complain('"' + is.substr(0, 40) + '"', "step, end, stopped or resumed");
        }
    }

  private:
    /// The sweep this line belongs to: the one that runs, or the next when that one has ended.
    SweepRun* run_of(const Node& root, bool may_begin) {
        const Node sweep = root.at("sweep");
        const bool ended = log_.runs.empty() || log_.runs.back().summary.has_value();
        const std::size_t most = log_.header.repeats ? kMostTurns : log_.header.sweeps.size();
        const std::size_t expected = log_.runs.size() - (ended ? 0 : 1);
        const auto is = sweep.integer<std::size_t>(0, most - 1);
        if (sweep.failed()) {
            return nullptr;
        }
        if (is != expected || (ended && !may_begin)) {
            sweep.complain(std::to_string(is), ended && !may_begin
                                                   ? "an end only after steps of its sweep"
                                                   : std::to_string(expected));
            return nullptr;
        }
        if (ended) {
            log_.runs.emplace_back();
        }
        return &log_.runs.back();
    }

    void take_step(const Node& root) {
        root.allow_only(
            {"kind",     "sweep",       "number",        "part",          "approach",
             "rate_hz",  "from_hz",     "ramp_step_hz",  "dwell_s",       "acquire_s",
             "time_s",   "achieved_hz", "other_rate_hz", "half_lines",    "state",
             "reason",   "board_hz",    "board_u_hz",    "phase_periods", "phase_u_periods",
             "jitter_s", "acquired_s",  "slips",         "edges",         "sync_part"});
        SweepRun* const run = run_of(root, true);
        lock::StepResult result = step_result_from_json(root);
        if (run == nullptr || root.failed()) {
            return;
        }
        if (result.step.number != run->steps.size()) {
            root.at("number").complain(std::to_string(result.step.number),
                                       std::to_string(run->steps.size()));
            return;
        }
        run->steps.push_back(std::move(result));
    }

    void take_end(const Node& root) {
        root.allow_only({"kind", "sweep", "summary"});
        SweepRun* const run = run_of(root, false);
        if (run != nullptr) {
            run->summary = sweep_summary_from_json(root.at("summary"),
                                                   settings_of(log_.header, log_.runs.size() - 1));
        }
    }

    void take_event(const Node& root, SweepLogEvent::Kind kind) {
        root.allow_only({"kind", "time_utc", "tool_version", "text"});
        log_.events.push_back({kind, root.at("time_utc").text(), root.at("tool_version").text(),
                               root.at("text").text()});
    }

    SweepLog& log_;
};

Error no_json(const std::string& file, std::size_t number, std::size_t size) {
    const std::string cure =
        number == 1 ? std::string("use another file")
                    : fmt::format("use another copy, or keep the {} good lines before it (head "
                                  "-n {}) and resume from them",
                                  number - 1, number - 1);
    return {ErrorKind::kFile,
            fmt::format("cannot read {} {}: line {} ({} bytes) is not JSON, expected one complete "
                        "line of a yokedock {}; the file is damaged there: {}",
                        kWhat, file, number, size, kWhat, cure)};
}

Status take_line(std::string_view text, std::size_t number, const std::string& file, SweepLog& log,
                 LineTaker& taker) {
    nlohmann::json document;
    try {
        document = nlohmann::json::parse(text);
    } catch (const nlohmann::json::exception&) { // no JSON, or a number beyond double
        return no_json(file, number, text.size());
    }
    ReadContext context{fmt::format("{}, line {}", file, number), kWhat, {}};
    const Node root(document, context);
    if (number == 1) {
        log.header = header_from_json(root, context);
    } else {
        taker.take(root);
    }
    return context.error ? Status(*context.error) : Status(Done{});
}

} // namespace

Result<SweepLog> sweep_log_from_text(std::string_view text, const std::string& file) {
    SweepLog log;
    LineTaker taker(log);
    std::size_t number = 0;
    while (log.good_bytes < text.size()) {
        const std::size_t end = text.find('\n', log.good_bytes);
        if (end == std::string_view::npos) {
            break;
        }
        const std::string_view line = text.substr(log.good_bytes, end - log.good_bytes);
        if (const Status taken = take_line(line, ++number, file, log, taker); !taken) {
            return taken.error();
        }
        log.good_bytes = end + 1;
    }
    if (number == 0) {
        return Error{ErrorKind::kFile,
                     fmt::format("cannot use {0} {1}: it has {2} bytes and no complete line, "
                                 "expected the header of a yokedock {0}; use another file",
                                 kWhat, file, text.size())};
    }
    if (log.good_bytes < text.size()) {
        log.warning = fmt::format("line {} of {} is torn ({} bytes without an end): it was being "
                                  "written when yokedock or the machine stopped, and is left out",
                                  number + 1, file, text.size() - log.good_bytes);
    }
    return log;
}

Result<SweepLog> load_sweep_log(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxSweepLogBytes, kWhat);
    if (!text) {
        return text.error();
    }
    return sweep_log_from_text(text.value(), path);
}

} // namespace yokedock::record
