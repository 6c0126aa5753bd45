// SPDX-License-Identifier: MIT
#include "tests/unit/record/example_record.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace yokedock;
using namespace yokedock::record;

namespace {

template <class Message> std::vector<std::uint8_t> bytes_of(const Message& message) {
    std::vector<std::uint8_t> bytes(wire::wire_size<Message>());
    REQUIRE(wire::write_fields(message, bytes.data(), bytes.size()) == bytes.size());
    return bytes;
}

Record read_back(const Record& record) {
    const Result<Record> again = from_json_text(to_json_text(record), "test.json");
    if (!again) {
        FAIL(again.error().text);
    }
    return again.value();
}

} // namespace

TEST_CASE("a bench record read back is the one that was written, to the last bit") {
    const Record before = example_record();
    const Record after = read_back(before);
    CHECK(after.tool_version == before.tool_version);
    CHECK(after.time_utc == before.time_utc);
    CHECK(after.standard == before.standard);
    CHECK(after.complete == before.complete);
    CHECK(after.notes == before.notes);
    REQUIRE(after.profile);
    REQUIRE(after.profile->horizontal.visible_us);
    CHECK(after.profile->horizontal.visible_us->from == 9.2);
    CHECK(after.profile->vertical.intended_s_q == 0.25);
    CHECK(after.profile->line_rate_hz == 15734.27);
    CHECK(profile_text(*after.profile) == profile_text(*before.profile));
    REQUIRE(after.raw);
    CHECK_FALSE(after.imported);
    const capture::BenchInfo& bench = after.raw->bench;
    CHECK(bytes_of(bench.identity) == bytes_of(before.raw->bench.identity));
    CHECK(bench.simulated);
    CHECK(bench.transport == "tcp");
    CHECK(bench.address == "tcp:127.0.0.1:4100");
    CHECK(bench.clock_u_relative == 2e-5);
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        CHECK(bench.scale[i].volts_per_unit == before.raw->bench.scale[i].volts_per_unit);
        CHECK(bench.scale[i].zero_v == before.raw->bench.scale[i].zero_v);
        CHECK(bench.scale[i].gain_u_relative == before.raw->bench.scale[i].gain_u_relative);
        CHECK(bench.scale[i].zero_u_v == before.raw->bench.scale[i].zero_u_v);
        CHECK(bench.scale[i].delay_s == before.raw->bench.scale[i].delay_s);
        CHECK(bench.scale[i].calibrated == before.raw->bench.scale[i].calibrated);
    }
    // Writing again gives the same text: nothing was lost on the way in that the text holds.
    CHECK(to_json_text(after) == to_json_text(before));
}

TEST_CASE("raw codes, ticks beyond 32 bits, plans and gaps survive the file") {
    const Record before = example_record();
    const Record after = read_back(before);
    REQUIRE(after.raw->captures.size() == 2);
    const capture::RawCapture& a = before.raw->captures[0];
    const capture::RawCapture& b = after.raw->captures[0];
    CHECK(b.purpose == a.purpose);
    CHECK(bytes_of(b.settings) == bytes_of(a.settings));
    CHECK(bytes_of(b.plan) == bytes_of(a.plan));
    CHECK(b.sync_on == a.sync_on);
    CHECK(b.aperture_ticks == a.aperture_ticks);
    CHECK(b.conversion_ticks == a.conversion_ticks);
    CHECK(b.begin_ticks == a.begin_ticks);
    CHECK(b.end_ticks == a.end_ticks);
    CHECK(b.words_dropped == a.words_dropped);
    CHECK(b.samples.ticks == a.samples.ticks);
    CHECK(b.samples.code == a.samples.code);
    CHECK(b.samples.channel == a.samples.channel);
    CHECK(b.line_edges.ticks == a.line_edges.ticks);
    CHECK(b.line_edges.rising == a.line_edges.rising);
    CHECK(b.field_edges.ticks == a.field_edges.ticks);
    CHECK(b.field_starts.accumulator == a.field_starts.accumulator);
    CHECK(b.field_starts.mid_line == a.field_starts.mid_line);
    REQUIRE(b.gaps.size() == 2);
    CHECK(b.gaps[0].kind == wire::BlockKind::kLineEdges);
    CHECK(b.gaps[1].kind == wire::BlockKind::kFieldStarts);
    CHECK(b.gaps[0].end_ticks == 200);
}

TEST_CASE("a figure that was not measured comes back without a number, never as 0") {
    const Record after = read_back(example_record());
    REQUIRE(after.figures.size() == 3);
    CHECK(after.figures[0].value == 59.94006);
    CHECK(after.figures[0].count == 120);
    CHECK(after.figures[0].u_clock == 3e-3);
    CHECK(after.figures[2].u_scale == 0.4);
    CHECK(std::isnan(after.figures[1].value));
    CHECK(std::isnan(after.figures[1].u));
    CHECK(after.figures[1].status == analysis::FigureStatus::kNotMeasured);
    CHECK(after.figures[1].reason == "channel h_yoke_a was not sampled");
    CHECK(after.figures[2].status == analysis::FigureStatus::kOutOfRange);
    CHECK(after.figures[2].where == "top");
}

TEST_CASE("the record of an import keeps its samples in SI units") {
    const Record before = example_import();
    const Record after = read_back(before);
    REQUIRE(after.imported);
    CHECK_FALSE(after.raw);
    CHECK_FALSE(after.profile);
    const capture::Observation& a = before.imported->observation;
    const capture::Observation& b = after.imported->observation;
    CHECK(after.imported->source_files == before.imported->source_files);
    REQUIRE(b.channels.size() == 1);
    const capture::Samples& samples = b.channels.at("h_out_v");
    CHECK(samples.time_s == a.channels.at("h_out_v").time_s);
    CHECK(samples.value == a.channels.at("h_out_v").value);
    CHECK(samples.delay_s == 1e-6);
    CHECK(b.field_pulses.rise_s == a.field_pulses.rise_s);
    CHECK(b.line_pulses.fall_s == a.line_pulses.fall_s);
    CHECK(b.field_pulses.unwatched.size() == 1);
    CHECK(b.sync.field_mid_line == a.sync.field_mid_line);
    CHECK(b.sync.line_start_s == a.sync.line_start_s);
    CHECK(b.interlaced);
    CHECK(b.imported);
    CHECK(to_json_text(after) == to_json_text(before));
}

TEST_CASE("a saved record is JSON with its schema and units in its key names") {
    const TempFolder folder;
    REQUIRE(save_record(example_record(), folder.file("r.json"), IfExists::kRefuse));
    const auto json = nlohmann::json::parse(folder.read("r.json"));
    CHECK(json.at("schema") == kRecordSchema);
    CHECK(json.at("bench").at("identity").at("clock_hz") == 16000000);
    CHECK(json.at("captures").at(0).at("samples").contains("trigger_ticks"));
    CHECK(json.at("captures").at(0).at("plan").contains("half_line_ticks"));
    const Result<Record> loaded = load_record(folder.file("r.json"));
    REQUIRE(loaded);
    CHECK(loaded.value().raw->captures[0].samples.code[2] == 1023);
}

TEST_CASE("notes with bytes that are no UTF-8 cannot make a file that is no JSON") {
    Record record = example_record();
    record.notes = {"caf\xE9", std::string("zero\0byte", 9)};
    const Record after = read_back(record);
    REQUIRE(after.notes.size() == 2);
    CHECK(after.notes[1] == record.notes[1]);
}
