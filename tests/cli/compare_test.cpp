// SPDX-License-Identifier: MIT
// `yokedock compare` on records: of the simulated bench, and of oscilloscope tables.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "host/cli/seams.hpp"
#include "host/record/record.hpp"
#include "tests/cli/help_examples.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <random>
#include <sstream>

using namespace yokedock;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

struct Run {
    int code;
    std::string out;
    std::string err;
    std::string drawn; ///< what gnuplot was given
};

Run run(const std::vector<std::string>& arguments) {
    std::ostringstream out;
    std::ostringstream err;
    std::string drawn;
    cli::Seams seams{out,
                     err,
                     false,
                     false,
                     {},
                     [](const std::string&) -> Result<bench::Bench> {
                         return Error{ErrorKind::kLink, "no bench here"};
                     },
                     [] { return std::vector<link::SerialPortInfo>{}; },
                     [] { return std::string("2026-01-31T09:36:12Z"); },
                     [] { return 0.0; },
                     [&drawn](const std::string& program) {
                         drawn = program;
                         return std::string("picture");
                     }};
    const int code = cli::run_yokedock(arguments, seams);
    return {code, out.str(), err.str(), drawn};
}

constexpr std::uint32_t kSerial = 7001; ///< of the bench, where it has one

/// A record as `yokedock measure` writes it, of the simulated board. change: of its values.
template <class Change>
std::string save(const TempFolder& folder, const std::string& name, std::uint32_t noise_seed,
                 const Change& change, std::uint32_t bench_serial = kSerial) {
    auto board =
        sim::load_board(YOKEDOCK_SOURCE_FOLDER "/demo/boards/quillwood13.json").value().parameters;
    board.bench_noise_seed = noise_seed;
    change(board);
    sim::ModelBenchOptions options;
    options.sync = *sim::find_standard("525/59.94");
    options.settle_s = 0.5;
    options.seconds = sim::kQuickSeconds;
    record::Record record;
    record.tool_version = "0.1.0";
    record.time_utc = "2026-01-31T09:36:12Z";
    record.standard = "525/59.94";
    record.raw = sim::run_model_bench(board, options).raw;
    record.raw->bench.simulated = true;
    record.raw->bench.identity.bench_serial = bench_serial;
    const std::string path = folder.file(name);
    REQUIRE(record::save_record(record, path, record::IfExists::kRefuse));
    return path;
}

void nothing(sim::BoardParameters&) {}

/// A vertical current over 8 fields as an oscilloscope exports it: 20 us, 10 bits, half a code of
/// noise.
std::string scope_csv(double half_a, double retrace_s, unsigned seed, int rows = 6700) {
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, 0.5);
    constexpr double kPeriodS = 1 / 59.94;
    std::string text = "time_s,v_yoke_a\n";
    for (int i = 0; i < rows; ++i) {
        const double t = i * 20e-6;
        const double phase = std::fmod(t, kPeriodS);
        const double amperes =
            phase < retrace_s ? half_a * std::cos(M_PI * phase / retrace_s)
                              : half_a * (2 * (phase - retrace_s) / (kPeriodS - retrace_s) - 1);
        text +=
            fmt::format("{:.6f},{:.5f}\n", t, std::round(amperes * 1000 + noise(random)) / 1000);
    }
    return text;
}

std::string import(const TempFolder& folder, const std::string& name, const std::string& csv) {
    const std::string path = folder.file(name + ".json");
    const Run done =
        run({"import", folder.write(name + ".csv", csv), "--standard", "525/59.94", "--out", path});
    INFO(done.err);
    REQUIRE(done.code == 0);
    return path;
}

} // namespace

TEST_CASE(
    "compare tells two runs of a board from a board that changed, in text, JSON and pictures") {
    const TempFolder folder;
    const std::string before = save(folder, "before.json", 1, nothing);
    const std::string after = save(folder, "after.json", 2, nothing);
    const std::string small = save(folder, "small.json", 3, [](sim::BoardParameters& b) {
        b.vertical_output_sense_ohm *= 1.034; // 3 % less current
    });
    const Run same = run({"compare", after, before});
    INFO(same.out << same.err);
    CHECK(same.code == 0);
    CHECK_THAT(same.out, Contains("SAME: ") && Contains("Vertical: the same") &&
                             Contains("same bench") && Contains("same rates") &&
                             Contains("Vertical ramp: same shape"));
    for (std::size_t at = 0; at < same.out.size();) { // no line is too wide
        const std::size_t end = same.out.find('\n', at);
        CHECK(end - at <= 100);
        at = end + 1;
    }

    const Run other = run({"compare", small, before, "--plot", "--svg", folder.file("a.svg")});
    CHECK(other.code == 1);
    CHECK_THAT(other.out, Contains("DIFFERENT: ") && Contains("Vertical: different.") &&
                              Contains("* vertical load current in the window, p-p") &&
                              Contains("Horizontal: the same") && Contains("same shape; size 9") &&
                              Contains("difference, % of peak to peak"));
    CHECK_THAT(other.drawn, Contains("$record0") && Contains("$reference1") &&
                                Contains("size and centring taken off"));

    const Run json = run({"compare", small, before, "--json"});
    CHECK(json.code == 1);
    const Json parsed = Json::parse(json.out);
    CHECK(parsed["schema"] == 1);
    CHECK(parsed["command"] == "compare");
    CHECK(parsed["verdict"] == "different");
    CHECK(parsed["reference_is"] == "same-board");
    CHECK(parsed["axes"][0]["verdict"] == "different");
    CHECK(parsed["axes"][1]["verdict"] == "same");
    CHECK(parsed["ramps"][0]["size_ratio"].get<double>() == Approx(0.97).margin(0.003));
    CHECK(parsed["ramps"][0]["shape_pct"].size() == 101);
    int judged = 0;
    for (const Json& figure : parsed["figures"]) {
        judged += figure["verdict"] == "same" || figure["verdict"] == "different";
        if (figure["verdict"] == "not measured") {
            CHECK(figure["difference"].is_null());
            CHECK_FALSE(figure["reason"].get<std::string>().empty());
        }
    }
    CHECK(judged > 35);

    const Run wide = run({"compare", small, before, "--tolerance", "v_yoke_pp_a=0.1", "--json"});
    const Json wide_json = Json::parse(wide.out); // must outlive the loop
    for (const Json& figure : wide_json["figures"]) {
        if (figure["name"] == "v_yoke_pp_a") {
            CHECK(figure["verdict"] == "same");
            CHECK(figure["real"] == true);
            CHECK(figure["basis"] == "stated");
        }
    }

    const Run boards = run({"compare", small, before, after});
    CHECK(boards.code == 0); // 3 % lie within what other good boards may differ by
    CHECK_THAT(boards.out, Contains("spread of 2 boards") &&
                               Contains("other good boards of the type, which may differ"));
    CHECK(run({"compare", small, before, after, "--reference-is", "same-board"}).code == 1);
}

TEST_CASE("compare does not take two records without a serial number for those of one bench") {
    const TempFolder folder;
    const std::string before = save(folder, "before.json", 1, nothing, 0);
    const std::string after = save(folder, "after.json", 2, nothing, 0);
    const Run unknown = run({"compare", after, before});
    INFO(unknown.out);
    CHECK(unknown.code == 7); // 0.8 % of gain on each side prove no 1.5 % of horizontal size
    CHECK_THAT(unknown.out, Contains("whether it is one bench is not known (no serial number)") &&
                                !Contains("bench 0") && !Contains("same bench"));
    const Run said = run({"compare", after, before, "--same-instruments"});
    INFO(said.out);
    CHECK(said.code == 0);
}

TEST_CASE("compare ends with 7 where the sync was another, however much differs") {
    const TempFolder folder;
    const std::string before = save(folder, "before.json", 1, nothing);
    const std::string small = save(folder, "small.json", 2, [](sim::BoardParameters& b) {
        b.vertical_output_sense_ohm *= 1.2;
        b.vertical_yoke_inductance_h *= 1.3;
    });
    CHECK(run({"compare", small, before}).code == 1);
    auto record = record::load_record(small).value();
    record.standard = "625/50";
    const std::string other = folder.file("other.json");
    REQUIRE(record::save_record(record, other, record::IfExists::kRefuse));
    const Run done = run({"compare", other, before});
    INFO(done.out);
    CHECK(done.code == 7);
    CHECK_THAT(done.out, Contains("CANNOT TELL: ") && Contains("STOP ") && Contains("625/50") &&
                             Contains("not comparable") && !Contains("different"));
}

TEST_CASE("compare takes oscilloscope tables, and says what it cannot tell from them") {
    const TempFolder folder;
    const std::string good = import(folder, "good", scope_csv(0.4, 700e-6, 1));
    const std::string again = import(folder, "again", scope_csv(0.4, 700e-6, 2));
    const std::string small = import(folder, "small", scope_csv(0.388, 700e-6, 3));
    const Run both = run({"compare", again, good});
    INFO(both.out);
    CHECK(both.code == 7);
    CHECK_THAT(both.out, Contains("CANNOT TELL: ") && Contains("h_yoke_a was not sampled") &&
                             Contains("does not tell which instruments"));
    // 2 % of gain on each side prove no 1.5 % of size.
    const Run vertical = run({"compare", again, good, "--axis", "vertical"});
    CHECK(vertical.code == 7);
    CHECK_THAT(vertical.out, Contains("not measured well enough to prove it") &&
                                 Contains("Vertical ramp: same shape"));
    const Run said = run({"compare", again, good, "--axis", "vertical", "--same-instruments"});
    INFO(said.out);
    CHECK(said.code == 0);
    CHECK_THAT(said.out, Contains("nobody knows whether the boards were locked"));
    CHECK(run({"compare", small, good, "--axis", "vertical", "--same-instruments"}).code == 1);
}

TEST_CASE("compare calls no board different for a table that is too short") {
    const TempFolder folder;
    const std::string good = import(folder, "good", scope_csv(0.4, 700e-6, 1));
    for (const int rows : {2, 50, 400, 1300}) { // up to 1.6 fields
        const std::string brief =
            import(folder, "brief" + std::to_string(rows), scope_csv(0.4, 700e-6, 2, rows));
        for (const auto& pair : {std::vector{brief, good}, std::vector{good, brief}}) {
            const Run done = run({"compare", pair[0], pair[1], "--axis", "vertical"});
            INFO(done.out);
            CHECK(done.code == 7);
            CHECK(done.out.find("there is none") == std::string::npos);
            if (pair[0] == brief) {
                CHECK_THAT(done.out, Contains("reference's periods") && Contains("longer"));
            }
        }
    }
    const std::string dead = import(folder, "dead", scope_csv(0, 700e-6, 3)); // 8 fields of nothing
    const Run done = run({"compare", dead, good, "--axis", "vertical"});
    INFO(done.out);
    CHECK(done.code == 1);
    CHECK_THAT(done.out, Contains("vertical rate: there is none"));
}

TEST_CASE("the examples in the help of compare run as they stand") {
    const TempFolder folder;
    unsigned seed = 0;
    for (const char* name : {"good", "repaired", "good1", "good2", "good3", "before", "after"}) {
        (void)import(folder, name, scope_csv(0.4, 700e-6, ++seed));
    }
    int count = 0;
    for (std::vector<std::string> arguments : help_examples(run({"compare", "--help"}).out)) {
        for (std::string& word : arguments) {
            const bool file =
                word.find(".json") != std::string::npos || word.find(".svg") != std::string::npos;
            word = file ? folder.file(word) : word;
        }
        CAPTURE(arguments);
        CHECK(run(arguments).code == 7); // of a vertical current alone nothing else can be told
        ++count;
    }
    CHECK(count == 3);
}

TEST_CASE("compare refuses what is no comparison, and says what to do") {
    const TempFolder folder;
    const std::string good = import(folder, "good", scope_csv(0.4, 700e-6, 1));
    const Run itself = run({"compare", good, good});
    CHECK(itself.code == 5);
    CHECK_THAT(itself.err, Contains("hold the same measurement") && Contains("another record"));
    CHECK(run({"compare", good, folder.file("none.json")}).code == 5);
    CHECK(run({"compare", good}).code == 2);
    CHECK(run({"compare", good, good, "--axis", "diagonal"}).code == 2);
    CHECK(run({"compare", good, good, "--reference-is", "mine"}).code == 2);
    for (const char* words : {"v_yoke_pp_a", "v_yoke_pp_a=", "v_yoke_pp_a=-1", "heatsink_c=3",
                              "nonsense=1", "v_yoke_pp_a=nan"}) {
        const Run wrong = run({"compare", good, good, "--tolerance", words});
        INFO(words);
        CHECK(wrong.code == 2);
        CHECK_THAT(wrong.err, Contains("expected a figure that is judged"));
    }
}

TEST_CASE("compare refuses what was kept of a trip, and takes a measurement that a trip cut off") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", 1, nothing);
    auto record = record::load_record(save(folder, "cut.json", 2, nothing)).value();
    record.complete = false;
    record.power.emplace();
    record.power->trip.emplace();
    record.power->trip->cause = "supply_current";
    const auto kept = [&](const char* name) {
        const std::string path = folder.file(name);
        REQUIRE(record::save_record(record, path, record::IfExists::kRefuse));
        return path;
    };
    const std::string cut_off = kept("cut_off.json");
    const Run measured = run({"compare", cut_off, good});
    INFO(measured.err);
    CHECK((measured.code == 0 || measured.code == 7));
    CHECK_THAT(measured.out, Contains("cut_off.json is incomplete"));
    record.raw->captures.erase(record.raw->captures.begin(), record.raw->captures.end() - 1);
    record.raw->captures[0].purpose = "trip";
    const std::string with_samples = kept("with_samples.json");
    record.raw->captures.clear(); // as the computer switches it off in the start
    const std::string without = kept("without.json");
    for (const std::string& trip : {with_samples, without}) {
        for (const auto& pair : {std::vector{trip, good}, std::vector{good, trip}}) {
            const Run done = run({"compare", pair[0], pair[1]});
            INFO(done.err);
            CHECK(done.code == 5);
            CHECK(done.out.empty());
            CHECK_THAT(done.err, Contains(trip + " is what was kept of a trip, expected") &&
                                     Contains("give a record of yokedock measure"));
        }
    }
}

TEST_CASE("measure --compare looks at the reference before it asks for the bench") {
    const TempFolder folder;
    const Run missing = run({"measure", "--bench", "tcp:127.0.0.1:1", "--supply", "outside",
                             "--standard", "525/59.94", "--compare", folder.file("none.json")});
    CHECK(missing.code == 5);
    const std::string good = import(folder, "good", scope_csv(0.4, 700e-6, 1));
    CHECK(run({"measure", "--bench", "tcp:127.0.0.1:1", "--supply", "outside", "--standard",
               "525/59.94", "--compare", good})
              .code == 3);
}
