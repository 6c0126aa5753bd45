// SPDX-License-Identifier: MIT
// The log of a sweep: nothing that was written is lost, nothing that is damaged is believed.
#include "host/record/sweep_json.hpp"
#include "host/record/sweep_log_writer.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <csignal>
#include <nlohmann/json.hpp>
#include <sys/resource.h>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        lines.push_back(line);
    }
    return lines;
}

std::string joined(const std::vector<std::string>& lines) {
    std::string text;
    for (const std::string& line : lines) {
        text += line + '\n';
    }
    return text;
}

std::string complaint(const std::string& text) {
    const auto log = sweep_log_from_text(text, "bad.jsonl");
    REQUIRE_FALSE(log);
    CHECK(log.error().kind == ErrorKind::kFile);
    CHECK_THAT(log.error().text, Contains("bad.jsonl"));
    return log.error().text;
}

/// Calls visit(pointer) for every value in the document.
template <class Visit>
void for_each_place(const Json& json, const Json::json_pointer& at, Visit visit) {
    if (json.is_structured()) {
        for (const auto& [key, value] : json.items()) {
            for_each_place(value, json.is_array() ? at / std::stoul(key) : at / key, visit);
        }
    }
    if (!at.empty()) {
        visit(at);
    }
}

/// Replaces one line of the example with a changed JSON and returns the complaint.
std::string complaint_about(std::vector<std::string> lines, std::size_t i, const Json& changed) {
    lines[i] = changed.dump();
    return complaint(joined(lines));
}

bool holds_index(const Json::json_pointer& at) {
    return at.back().find_first_not_of("0123456789") == std::string::npos;
}

} // namespace

TEST_CASE("a sweep log is read back as it was written, to the last bit") {
    const std::string text = text_of(example_log());
    const auto log = sweep_log_from_text(text, "a.jsonl");
    REQUIRE(log);
    CHECK(log.value().warning.empty());
    CHECK(log.value().good_bytes == text.size());
    CHECK(text_of(log.value()) == text);
    // The text could hide what is not written at all: values whose last bits matter, one by one.
    const lock::StepResult& step = log.value().runs.at(0).steps.at(1);
    const lock::StepResult expected = example_run().steps.at(1);
    CHECK(step.achieved_hz == expected.achieved_hz);
    CHECK(step.time_s == expected.time_s);
    CHECK(step.board_u_hz == expected.board_u_hz);
    CHECK(step.phase == expected.phase);
    CHECK(step.acquired_s == expected.acquired_s);
    CHECK(step.step.part == lock::SweepPart::nominal);
    CHECK(step.step.approach == lock::Approach::kFromLock);
    CHECK(step.reason == expected.reason);
    CHECK(log.value().runs.at(0).steps.at(0).acquired_s == -1);
    CHECK(log.value().header.sweeps.at(0).nominal_hz == 60000.0 / 1001);
    CHECK(log.value().header.sweeps.at(0).sync.line_rate_denominator == 286);
    CHECK(log.value().header.notes == example_header().notes);
    const auto& summary = log.value().runs.at(0).summary;
    REQUIRE(summary);
    CHECK(summary->hold_low.locked_hz == 57.5);
    CHECK(summary->return_low.status == lock::LimitStatus::kNone);
    CHECK(summary->free_run_before->value == 57.25);
    CHECK(summary->settings.high_hz == 70.5);
    CHECK(is_complete(log.value()));
}

TEST_CASE("every line of the log is one line, whatever stands in the texts") {
    SweepLogHeader header = example_header();
    header.notes = {"a\nb\r\n\tc \x01 \xff"};
    const std::string line = header_line(header);
    CHECK(std::count(line.begin(), line.end(), '\n') == 1);
    CHECK(line.back() == '\n');
    CHECK(sweep_log_from_text(line, "a.jsonl"));
}

TEST_CASE("a log cut off at any byte keeps every complete line before the cut") {
    const std::string text = text_of(example_log());
    const std::size_t header = text.find('\n') + 1;
    for (std::size_t size = 0; size < text.size(); ++size) {
        const auto log = sweep_log_from_text(text.substr(0, size), "cut.jsonl");
        if (size < header) {
            REQUIRE_FALSE(log);
            REQUIRE_THAT(log.error().text, Contains("cut.jsonl") && Contains("no complete line"));
            continue;
        }
        REQUIRE(log);
        const std::size_t whole = text.rfind('\n', size - 1) + 1;
        REQUIRE(log.value().good_bytes == whole);
        REQUIRE(text_of(log.value()) == text.substr(0, whole));
        REQUIRE(log.value().warning.empty() == (whole == size));
    }
}

TEST_CASE("a tail of zeros, as a power cut leaves it, is a torn line") {
    const std::string text = text_of(example_log());
    const auto log = sweep_log_from_text(text + std::string(4096, '\0'), "cut.jsonl");
    REQUIRE(log);
    CHECK(log.value().good_bytes == text.size());
    CHECK_THAT(log.value().warning, Contains("torn") && Contains("4096 bytes"));
}

TEST_CASE("a key missing anywhere in a line is refused with line number and key") {
    const auto lines = lines_of(text_of(example_log()));
    std::size_t places = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const Json original = Json::parse(lines[i]);
        for_each_place(original, Json::json_pointer(), [&](const Json::json_pointer& at) {
            if (holds_index(at)) {
                return; // a shorter array may be a good one
            }
            Json changed = original;
            changed.at(at.parent_pointer()).erase(at.back());
            INFO(i << at.to_string());
            const std::string text = complaint_about(lines, i, changed);
            REQUIRE_THAT(text, Contains("line " + std::to_string(i + 1)) && Contains(at.back()));
            ++places;
        });
    }
    CHECK(places > 300); // 10 steps of 24 keys, header, end, events
}

TEST_CASE("a value of the wrong type anywhere in a line is refused with line number and key") {
    const auto lines = lines_of(text_of(example_log()));
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const Json original = Json::parse(lines[i]);
        for_each_place(original, Json::json_pointer(), [&](const Json::json_pointer& at) {
            Json changed = original;
            changed[at] = original.at(at).is_structured() ? Json("x") : Json::object();
            INFO(i << at.to_string());
            const std::string text = complaint_about(lines, i, changed);
            REQUIRE_THAT(text, Contains("line " + std::to_string(i + 1)) &&
                                   Contains(holds_index(at) ? "[" + at.back() + "]" : at.back()));
        });
    }
}

TEST_CASE("a misspelt key is not silently left out") {
    const auto lines = lines_of(text_of(example_log()));
    for (std::size_t i = 0; i < lines.size(); ++i) {
        Json changed = Json::parse(lines[i]);
        changed["stat"] = 1;
        CHECK_THAT(complaint_about(lines, i, changed), Contains("unknown key \"stat\""));
    }
}

TEST_CASE("a line that is no JSON names the good lines before it") {
    auto lines = lines_of(text_of(example_log()));
    lines[4] = lines[4].substr(0, 50);
    CHECK_THAT(complaint(joined(lines)), Contains("line 5") && Contains("head -n 4"));
    lines[4] = "";
    CHECK_THAT(complaint(joined(lines)), Contains("line 5"));
    lines[4] = std::string(200000, '[');
    CHECK_THAT(complaint(joined(lines)), Contains("line 5"));
    lines[4] = R"({"kind": 1e999})";
    CHECK_THAT(complaint(joined(lines)), Contains("line 5"));
}

TEST_CASE("lines that do not follow from each other are refused") {
    const auto lines = lines_of(text_of(example_log()));
    auto changed = lines;
    changed.erase(changed.begin() + 3);
    CHECK_THAT(complaint(joined(changed)), Contains("line 4") && Contains("number is 3"));
    changed = lines;
    std::swap(changed[2], changed[3]);
    CHECK_THAT(complaint(joined(changed)), Contains("line 3") && Contains("number is 2"));
    changed = lines;
    changed.insert(changed.begin() + 3, changed[2]);
    CHECK_THAT(complaint(joined(changed)), Contains("line 4") && Contains("number is 1"));
    changed = {lines[0], lines[11]};
    CHECK_THAT(complaint(joined(changed)), Contains("line 2") && Contains("end only after"));
    changed = lines;
    changed.push_back(lines[1]); // the only sweep has ended
    CHECK_THAT(complaint(joined(changed)), Contains("line 15") && Contains("sweep"));
    changed = {lines[0], lines[0]};
    CHECK_THAT(complaint(joined(changed)), Contains("line 2") && Contains("kind is \"header\""));
    changed = lines;
    changed.erase(changed.begin());
    CHECK_THAT(complaint(joined(changed)), Contains("line 1"));
}

TEST_CASE("settings that a search would trip over are refused") {
    const auto lines = lines_of(text_of(example_log()));
    const auto with = [&lines](const char* pointer, const Json& value) {
        Json header = Json::parse(lines[0]);
        header[Json::json_pointer(pointer)] = value;
        return complaint_about(lines, 0, header);
    };
    CHECK_THAT(with("/sweeps/0/low_hz", 60), Contains("low_hz"));
    CHECK_THAT(with("/sweeps/0/high_hz", 59), Contains("high_hz"));
    CHECK_THAT(with("/sweeps/0/step_hz", 0), Contains("step_hz"));
    CHECK_THAT(with("/sweeps/0/resolution_hz", -1), Contains("resolution_hz"));
    CHECK_THAT(with("/sweeps/0/sync/line_rate_denominator", 0), Contains("sync"));
    CHECK_THAT(with("/sweeps/0/axis", "diagonal"), Contains("vertical, horizontal"));
    CHECK_THAT(with("/sweeps", Json::array()), Contains("at least one sweep"));
    CHECK_THAT(with("/bench/identity/clock_hz", 0), Contains("clock_hz"));
    CHECK_THAT(with("/schema", 7), Contains("schemas up to 1"));
    CHECK_THAT(with("/format", "yokedock record"), Contains("yokedock sweep log"));
}

TEST_CASE("a log that repeats goes through its list again and is never complete") {
    SweepLog log = example_log();
    log.header.repeats = true;
    log.header.sweeps.push_back(example_settings());
    log.header.sweeps.back().step_hz = 1;
    log.runs = {example_run(), example_run(), example_run()};
    for (std::size_t i = 0; i < log.runs.size(); ++i) {
        log.runs[i].summary->settings = settings_of(log.header, i);
    }
    const auto again = sweep_log_from_text(text_of(log), "watch.jsonl");
    REQUIRE(again);
    CHECK(again.value().runs.size() == 3);
    CHECK(again.value().runs[1].summary->settings.step_hz == 1);
    CHECK(again.value().runs[2].summary->settings.step_hz == 0.5);
    CHECK_FALSE(is_complete(again.value()));
}

TEST_CASE("the writer adds line by line, never replaces a log unasked, and cuts a torn line off "
          "before it goes on") {
    const TempFolder folder;
    const std::string path = folder.file("a.jsonl");
    const SweepLog log = example_log();
    {
        auto writer = SweepLogWriter::create(path, log.header, IfExists::kRefuse);
        REQUIRE(writer);
        CHECK(folder.read("a.jsonl") == header_line(log.header));
        REQUIRE(writer.value().add(0, log.runs[0].steps[0]));
        CHECK(folder.read("a.jsonl") ==
              header_line(log.header) + step_line(0, log.runs[0].steps[0]));
        const auto other = load_sweep_log(path);
        REQUIRE(other); // reading while it is written is fine; writing twice is not
        const auto second = SweepLogWriter::resume(path, other.value(), log.events[1]);
        REQUIRE_FALSE(second);
        CHECK_THAT(second.error().text, Contains("another program"));
    }
    const auto refused = SweepLogWriter::create(path, log.header, IfExists::kRefuse);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().text, Contains("--force"));

    const std::string good = folder.read("a.jsonl");
    (void)folder.write("a.jsonl", good + R"({"kind":"step","swee)");
    const auto torn = load_sweep_log(path);
    REQUIRE(torn);
    CHECK_THAT(torn.value().warning, Contains("line 3") && Contains("torn"));
    {
        auto writer = SweepLogWriter::resume(path, torn.value(), log.events[1]);
        REQUIRE(writer);
        REQUIRE(writer.value().add(0, log.runs[0].steps[1]));
        REQUIRE(writer.value().end(0, *log.runs[0].summary));
    }
    CHECK(folder.read("a.jsonl") == good + event_line(log.events[1]) +
                                        step_line(0, log.runs[0].steps[1]) +
                                        end_line(0, *log.runs[0].summary));
    REQUIRE(SweepLogWriter::create(path, log.header, IfExists::kReplace));
    CHECK(folder.read("a.jsonl") == header_line(log.header));
}

TEST_CASE("a line that does not fit on the disc is an error and leaves the lines before it whole") {
    const TempFolder folder;
    const std::string path = folder.file("a.jsonl");
    const SweepLog log = example_log();
    auto writer = SweepLogWriter::create(path, log.header, IfExists::kRefuse);
    REQUIRE(writer);
    const std::string good = folder.read("a.jsonl");
    // A limit on the file's size stands in for a full disc: the line is written in part, then
    // EFBIG.
    struct rlimit before {};
    REQUIRE(::getrlimit(RLIMIT_FSIZE, &before) == 0);
    struct rlimit small = before;
    small.rlim_cur = good.size() + 20;
    const auto old_handler = std::signal(SIGXFSZ, SIG_IGN);
    REQUIRE(::setrlimit(RLIMIT_FSIZE, &small) == 0);
    const Status full = writer.value().add(0, log.runs[0].steps[0]);
    REQUIRE(::setrlimit(RLIMIT_FSIZE, &before) == 0);
    std::signal(SIGXFSZ, old_handler);
    REQUIRE_FALSE(full);
    CHECK(full.error().kind == ErrorKind::kFile);
    CHECK(folder.read("a.jsonl") == good);
    REQUIRE(writer.value().add(0, log.runs[0].steps[0])); // room again: it goes on
    CHECK(folder.read("a.jsonl") == good + step_line(0, log.runs[0].steps[0]));
}

TEST_CASE("a file that cannot be a sweep log is refused") {
    const TempFolder folder;
    CHECK_THAT(load_sweep_log(folder.file("none.jsonl")).error().text, Contains("No such file"));
    CHECK_THAT(load_sweep_log(folder.path().string()).error().text, Contains("folder"));
    CHECK_THAT(load_sweep_log(folder.write("e.jsonl", "")).error().text, Contains("0 bytes"));
    CHECK_THAT(load_sweep_log(folder.write("c.csv", "time_s,v\n0,1\n")).error().text,
               Contains("line 1") && Contains("not JSON"));
}

TEST_CASE("narrow sync is kept in settings, steps and summary, and only where it was asked for") {
    lock::StepResult step;
    CHECK_FALSE(step_result_to_json(step).contains("sync_part"));
    step.step.sync_part = 0.4375;
    CHECK(step_result_to_json(step).at("sync_part") == 0.4375);
    lock::SweepSettings settings;
    CHECK_FALSE(sweep_settings_to_json(settings).contains("narrow_sync"));
    settings.narrow_sync = true;
    CHECK(sweep_settings_to_json(settings).at("narrow_sync") == true);
    lock::SweepSummary summary;
    CHECK_FALSE(sweep_summary_to_json(summary).contains("narrow_sync"));
    summary.narrow_sync = {lock::LimitStatus::kFound, 60, 0.31, 0.29, 50e-6, 48e-6, 0.15, ""};
    const auto narrow = sweep_summary_to_json(summary).at("narrow_sync");
    CHECK(narrow.at("status") == "found");
    CHECK(narrow.at("locked_part") == 0.31);
    CHECK(narrow.at("lost_s") == 48e-6);
}
