// SPDX-License-Identifier: MIT
// `yokedock diagnose` as a user runs it: exit codes, sweeps beside a record, a cold record, a board
// that tripped in its soft start, records with little in them, files that do not fit.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/faults.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/cli/seams.hpp"
#include "host/record/catalogue_file.hpp"
#include "host/record/record.hpp"
#include "tests/cli/help_examples.hpp"
#include "tests/unit/bench/guarded_device.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace yokedock;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

const std::string kBoards = YOKEDOCK_SOURCE_FOLDER "/demo/boards/";
const std::string kProfile = kBoards + "quillwood13.profile.json";

struct Run {
    int code;
    std::string out;
    std::string err;
};

Run run(const std::vector<std::string>& arguments, test::GuardedDevice* device = nullptr) {
    std::ostringstream out;
    std::ostringstream err;
    double steady_s = 0;
    cli::Seams seams{out,
                     err,
                     false,
                     false,
                     {},
                     [&](const std::string& address) -> Result<bench::Bench> {
                         if (device == nullptr) {
                             return Error{ErrorKind::kLink, "no bench here"};
                         }
                         return bench::Bench::connect(
                             std::make_unique<test::DeviceTransport<test::GuardedDevice>>(*device),
                             address);
                     },
                     [] { return std::vector<link::SerialPortInfo>{}; },
                     [] { return std::string("2026-01-31T09:36:12Z"); },
                     [&steady_s] { return steady_s += 1; },
                     [](const std::string&) { return std::string(); }};
    const int code = cli::run_yokedock(arguments, seams);
    return {code, out.str(), err.str()};
}

Json diagnosed(std::vector<std::string> arguments, int code) {
    arguments.insert(arguments.begin(), "diagnose");
    arguments.emplace_back("--json");
    const Run done = run(arguments);
    INFO(done.err << done.out);
    REQUIRE(done.code == code);
    return Json::parse(done.out);
}

/// As `yokedock measure` writes it, of the simulated board; fault "": none.
record::Record measured(const std::string& fault, double severity, std::uint32_t seed = 1,
                        const capture::PhaseSeconds& seconds = sim::kQuickSeconds,
                        std::uint32_t line_hz = 0) {
    auto board = sim::load_board(kBoards + "quillwood13.json").value().parameters;
    board.bench_noise_seed = seed;
    if (!fault.empty()) {
        REQUIRE(sim::apply_fault(board, fault, severity));
    }
    sim::ModelBenchOptions options;
    options.sync = *sim::find_standard("525/59.94");
    if (line_hz != 0) {
        options.sync.line_rate_numerator = line_hz;
        options.sync.line_rate_denominator = 1;
    }
    options.settle_s = 0.5;
    options.seconds = seconds;
    record::Record record;
    record.tool_version = "0.1.0";
    record.time_utc = "2026-01-31T09:36:12Z";
    record.standard = line_hz == 0 ? "525/59.94" : "free";
    record.raw = sim::run_model_bench(board, options).raw;
    record.raw->bench.simulated = true;
    return record;
}

/// Enough for some figures, for what is refused whatever they are.
record::Record glimpsed(std::uint32_t seed) {
    return measured("", 0, seed, {0.1, 0.02, 0.05, 0.02, 0.05});
}

std::string save(const TempFolder& folder, const std::string& name, const record::Record& record) {
    const std::string path = folder.file(name);
    REQUIRE(record::save_record(record, path, record::IfExists::kRefuse));
    return path;
}

/// The example's log: free run 57.25 Hz, held from 57.45 to 66.05 Hz, 59.94 Hz set.
std::string save_log(const TempFolder& folder, const std::string& name, const char* standard) {
    record::SweepLog log = example_log();
    log.events.clear();
    log.header.standard = standard;
    for (const sync::Standard& row : sync::kStandards) {
        if (row.name == std::string(standard)) {
            log.header.sweeps[0].sync = row.settings;
            log.header.sweeps[0].nominal_hz = 2.0 * row.settings.line_rate_numerator /
                                              row.settings.line_rate_denominator /
                                              row.settings.half_lines;
        }
    }
    log.header.sweeps[0].low_hz = 40.25; // below 50 Hz, too
    log.runs[0].summary->settings = log.header.sweeps[0];
    return folder.write(name, text_of(log));
}

/// The built-in catalogue with what a sweep and a start show: features and effects for this file
/// alone, so that what the program makes of such figures is tested whatever the catalogue has.
std::string own_catalogue(const TempFolder& folder) {
    Json c = Json::parse(record::built_in_catalogue_text());
    c["figures"]["v_hold_below_pct"] = {
        {"scale", "ratio"}, {"broad", 1}, {"default_tolerance", 0.3}, {"floor", 0.05}};
    c["figures"]["start_rail_up"] = {
        {"scale", "flag"}, {"broad", 1}, {"default_tolerance", 0}, {"floor", 0.01}};
    // Sync that is weak narrows the range, and nothing else: the free run is right (common
    // practice).
    Json narrow = c["faults"][0];
    narrow["id"] = "field_sync_small";
    narrow["section"] = "sync";
    narrow["figures"] = {{"v_hold_below_pct", {{"low", 0.6}, {"high", 0.1}}}};
    c["faults"].push_back(narrow);
    for (Json& fault : c["faults"]) {
        if (fault["id"] == "v_ic_reversed") {
            fault["figures"]["start_rail_up"] = {{"low", 0.05}, {"high", 0.02}};
        }
    }
    return folder.write("catalogue.json", c.dump(1));
}

std::size_t rank_of(const Json& diagnosis, const char* fault) {
    std::size_t rank = 0;
    for (const Json& suspect : diagnosis["suspects"]) {
        ++rank;
        if (suspect["id"] == fault) {
            return rank;
        }
    }
    return 99;
}

} // namespace

TEST_CASE("diagnose ends with 0 for a good board, 1 for a suspect, 7 where nothing can be judged") {
    const TempFolder folder;
    record::Record record = measured("", 0);
    const std::string good = save(folder, "good.json", record);
    const std::string bad = save(folder, "bad.json", measured("boost_path_dead", 1));
    const Json healthy = diagnosed({good, "--profile", kProfile}, 0);
    CHECK(healthy["outcome"] == "nothing found");
    const Json suspect = diagnosed({bad, "--profile", kProfile}, 1);
    CHECK(suspect["suspects"][0]["id"] == "boost_path_dead");
    CHECK(suspect["section"] == "boost");

    // Without expectations only facts are left: of a record whose captures were lost, none.
    record.raw->captures.clear();
    const Run nothing = run({"diagnose", save(folder, "empty.json", record)});
    CHECK(nothing.code == 7);
    CHECK_THAT(nothing.out, Contains("Cannot tell") && Contains("--profile"));
}

TEST_CASE("diagnose names file, line and key of a file it cannot use, and ends with 5") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", glimpsed(1));
    const std::string text = record::built_in_catalogue_text();
    const std::size_t at = text.find("\"prior\": ") + 9;
    const std::string bent =
        folder.write("bent.json", std::string(text).replace(at - 9, 7, "\"piror\""));
    const auto line =
        1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n');
    struct Row {
        std::vector<std::string> arguments;
        std::vector<std::string> words;
    };
    const std::vector<Row> rows = {
        {{folder.file("none.json")}, {"none.json"}},
        {{folder.write("torn.json", "{\"format\": \"yokedock")}, {"torn.json", "line 1"}},
        {{good, "--catalogue", bent}, {"bent.json", "faults[0]", "piror"}},
        {{good, "--catalogue", folder.write("torn2.json", text.substr(0, 5000))},
         {"torn2.json", "line "}},
        {{good, "--profile", folder.write("p.json", "{\"schema\": 2,\n\"name\": 7}")},
         {"p.json", "line 2", "name"}},
        {{good, "--sweep", folder.write("s.jsonl", "{}\n")}, {"s.jsonl", "line 1"}},
        {{good, "--cold", folder.file("none.json")}, {"none.json"}},
        {{good, "--cold", good}, {"same measurement"}},
    };
    for (const Row& row : rows) {
        std::vector<std::string> arguments{"diagnose"};
        arguments.insert(arguments.end(), row.arguments.begin(), row.arguments.end());
        const Run done = run(arguments);
        INFO(done.err);
        CHECK(done.code == 5);
        CHECK(done.out.empty());
        for (const std::string& word : row.words) {
            CHECK_THAT(done.err, Contains(word));
        }
    }
    // The value alone, on its own line of the file.
    const std::string value = folder.write("value.json", std::string(text).insert(at, "-"));
    CHECK_THAT(run({"diagnose", good, "--catalogue", value}).err,
               Contains(fmt::format("line {}: faults[0].prior is -", line)));
}

TEST_CASE("a lock sweep beside the record speaks for a fault that the record alone cannot show") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", measured("", 0));
    const std::string catalogue = own_catalogue(folder);
    Json profile = Json::parse(folder.read(folder.write("copy", [] {
        std::ifstream in(kProfile);
        return std::string(std::istreambuf_iterator<char>(in), {});
    }())));
    // Held 4.15 % below 59.94 Hz in the log; a good board of this type holds 20 %.
    profile["expected"]["v_hold_below_pct"] = {{"value", 20}, {"tolerance", 4}};
    const std::string wide = folder.write("wide.json", profile.dump());
    const std::string log = save_log(folder, "hold.jsonl", "525/59.94");
    const auto before = diagnosed({good, "--profile", wide, "--catalogue", catalogue}, 0);
    const auto with =
        diagnosed({good, "--profile", wide, "--catalogue", catalogue, "--sweep", log}, 1);
    CHECK(with["figures_used"] == before["figures_used"].get<int>() + 2); // and the free run
    CHECK(rank_of(with, "field_sync_small") == 1);
    CHECK_THAT(with["suspects"][0]["for"].dump(), Contains("vertical lock held below"));
    // What the profile learned from the log itself is no deviation.
    profile["expected"]["v_hold_below_pct"] = {{"value", 4.2}, {"tolerance", 1}};
    const std::string same = folder.write("same.json", profile.dump());
    CHECK(diagnosed({good, "--profile", same, "--catalogue", catalogue, "--sweep", log},
                    0)["outcome"] == "nothing found");
}

TEST_CASE("a sweep, a cold record or a profile of another sync is refused, with both named") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", glimpsed(1));
    const std::string log = save_log(folder, "hold.jsonl", "525/59.94");
    const auto refused = [&](const std::vector<std::string>& more, int code,
                             const std::vector<std::string>& words) {
        std::vector<std::string> arguments{"diagnose", good, "--profile", kProfile};
        arguments.insert(arguments.end(), more.begin(), more.end());
        const Run done = run(arguments);
        INFO(done.err);
        CHECK(done.code == code);
        for (const std::string& word : words) {
            CHECK_THAT(done.err, Contains(word));
        }
    };
    refused({"--sweep", save_log(folder, "50.jsonl", "625/50")}, 5, {"625/50", "525/59.94"});
    // The same name of standard, but 60 in place of 59.94 Hz.
    record::SweepLog other = example_log();
    other.header.standard = "free";
    other.header.sweeps[0].sync.line_rate_numerator = 15750;
    other.header.sweeps[0].sync.line_rate_denominator = 1;
    other.header.sweeps[0].nominal_hz = 60;
    other.runs[0].summary->settings = other.header.sweeps[0];
    refused({"--sweep", folder.write("60.jsonl", text_of(other))}, 5,
            {"60.jsonl", "line rate of 15750.000 Hz", "expected 15734.2"});
    refused({"--sweep", log, "--sweep", log}, 2, {"both hold a vertical sweep"});

    record::Record cold = glimpsed(2);
    cold.standard = "625/50";
    refused({"--cold", save(folder, "cold50.json", cold)}, 5, {"cold50.json", "625/50"});
    cold.standard = "525/59.94";
    const std::string same_board = save(folder, "cold.json", cold);
    CHECK(run({"diagnose", good, "--profile", kProfile, "--cold", same_board}).err.empty());

    Json profile = Json::parse(folder.read(folder.write("copy", [] {
        std::ifstream in(kProfile);
        return std::string(std::istreambuf_iterator<char>(in), {});
    }())));
    profile["standard"] = "625/50";
    const Run done = run({"diagnose", good, "--profile", folder.write("p50.json", profile.dump())});
    CHECK(done.code == 5);
    CHECK_THAT(done.err, Contains("p50.json") && Contains("625/50") && Contains("525/59.94"));
}

TEST_CASE("a record of another rate is refused, though no standard has that rate") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", glimpsed(1));
    const std::string off = // 1.5 %
        save(folder, "off.json", measured("", 0, 3, {0.1, 0.02, 0.05, 0.02, 0.05}, 15500));
    for (const std::vector<std::string>& given :
         {std::vector<std::string>{"diagnose", off, "--profile", kProfile},
          std::vector<std::string>{"diagnose", off, "--reference", good}}) {
        const Run refused = run(given);
        CHECK(refused.code == 5);
        CHECK_THAT(refused.err,
                   Contains("line rate of 15500.00 Hz") && Contains("expected 15734.27 Hz"));
    }
}

TEST_CASE("profile from learns free run and hold range from sweeps, one board or several") {
    const TempFolder folder;
    const std::string good = save(folder, "good.json", measured("", 0));
    const std::string log = save_log(folder, "a.jsonl", "525/59.94");
    const auto learn = [&](const std::vector<std::string>& logs, const char* out) {
        std::vector<std::string> arguments{"profile",        "from",         good,
                                           "--name",         "Quillwood 13", "--out",
                                           folder.file(out), "--force"};
        for (const std::string& one : logs) {
            arguments.insert(arguments.end(), {"--sweep", one});
        }
        return run(arguments);
    };
    const Run one = learn({log}, "one.json");
    INFO(one.err);
    REQUIRE(one.code == 0);
    CHECK_THAT(one.out, Contains("v_hold_above_pct"));
    auto profile = record::load_profile(folder.file("one.json"));
    REQUIRE(profile);
    const double set = 60000.0 / 1001;
    const record::ExpectedFigure below = profile.value().expected.at("v_hold_below_pct");
    CHECK(below.value == Approx(100 * (1 - 57.45 / set)));
    // 13 % of the value by parts, 6 % of the rate by the free run, twice the reading's 0.05 %.
    const double u = 100 * 0.1 / set / std::sqrt(12.0);
    CHECK(below.tolerance ==
          Approx(std::hypot(std::hypot(0.13 * below.value, 6.0), 2 * u)).epsilon(1e-3));
    CHECK(below.basis == record::ExpectationBasis::kDefault);
    CHECK(profile.value().expected.at("v_free_rate_hz").value == Approx(57.25));
    CHECK(profile.value().expected.at("v_hold_above_pct").value == Approx(100 * (66.05 / set - 1)));

    record::SweepLog second = example_log();
    second.events.clear();
    second.runs[0].summary->free_run_before->value = 57.5;
    second.runs[0].summary->hold_low = {lock::LimitStatus::kFound, 57.7, 57.6, -1, ""};
    const Run two = learn({log, folder.write("b.jsonl", text_of(second))}, "two.json");
    INFO(two.err);
    REQUIRE(two.code == 0);
    profile = record::load_profile(folder.file("two.json"));
    REQUIRE(profile);
    CHECK(profile.value().expected.at("v_free_rate_hz").basis == record::ExpectationBasis::kSpread);
    CHECK(profile.value().expected.at("v_free_rate_hz").boards == 2);
    CHECK(*profile.value().expected.at("v_free_rate_hz").spread == Approx(0.25 / std::sqrt(2.0)));
    // A profile made anew from records alone keeps what its sweeps have taught it.
    const Run again = run({"profile", "from", good, "--profile", folder.file("two.json"), "--out",
                           folder.file("again.json")});
    INFO(again.err);
    REQUIRE(again.code == 0);
    CHECK(record::load_profile(folder.file("again.json"))
              .value()
              .expected.at("v_free_rate_hz")
              .boards == 2);

    const Run twice = learn({log, log}, "twice.json");
    CHECK(twice.code == 5);
    CHECK_THAT(twice.err, Contains("same sweep"));
    const Run other = learn({save_log(folder, "50.jsonl", "625/50")}, "other.json");
    CHECK(other.code == 5);
    CHECK_THAT(other.err, Contains("625/50"));
}

TEST_CASE("a board stopped in its soft start leaves a record that names trip and reversed IC") {
    const TempFolder folder;
    // A reversed IC's substrate diodes hold the rail at two junctions: 1.5 V, and of the 24 V the
    // rest drives (24 - 1.5) V / 22 ohm = 1.0 A through the soft-start resistor.
    test::GuardedDevice device([](std::uint8_t relays, double ms) {
        test::BoardState s = test::healthy_board(relays, ms);
        if ((relays & 1) != 0) {
            const auto code = [](ChannelId id, double value) {
                return static_cast<std::uint16_t>(std::lround(bench::code_of(id, value)));
            };
            s.code[2] = code(ChannelId::supply_v, 1.5);
            s.code[3] = code(ChannelId::supply_a, 0.95);
        }
        return s;
    });
    const Run tripped = run({"measure",
                             "--bench",
                             "memory:",
                             "--settle-s",
                             "0",
                             "--profile",
                             kProfile,
                             "--out",
                             folder.file("r.json"),
                             "--confirm",
                             "parts_changed=IC401",
                             "--confirm",
                             "pin_one",
                             "--confirm",
                             "polarity",
                             "--confirm",
                             "no_bridges",
                             "--confirm",
                             "tube_discharged",
                             "--confirm",
                             "anode_lead",
                             "--confirm",
                             "yoke_plugs"},
                            &device);
    INFO(tripped.err);
    REQUIRE(tripped.code == 4);
    REQUIRE((tripped.err.find("trip: ")) != std::string::npos);
    const auto names = tripped.err.find("trip: ") + 6;
    const std::string path = tripped.err.substr(names, tripped.err.find('\n', names) - names);
    const auto record = record::load_record(path);
    REQUIRE(record);
    REQUIRE(record.value().power);
    REQUIRE(record.value().power->trip);

    const std::string catalogue = own_catalogue(folder);
    for (const bool own : {false, true}) {
        std::vector<std::string> arguments{path};
        if (own) {
            arguments.insert(arguments.end(), {"--catalogue", catalogue});
        }
        const Json found = diagnosed(arguments, 1);
        INFO(found.dump(1));
        CHECK_THAT(found["remarks"].dump(), Contains("switched the supply off"));
        CHECK(rank_of(found, "v_ic_reversed") <= (own ? 1 : 3));
        CHECK(found["healthy"] < 0.5);
        // What was sampled with the supply coming and going is no reading of a board at work.
        CHECK(found["figures_used"] <= 2);
    }
    const Json text = diagnosed({path}, 1);
    CHECK_THAT(text.dump(), Contains("IC401")); // of the profile's parts list

    // It is judged itself; beside another record it is no board that was good, or cold.
    const std::string other = save(folder, "other.json", glimpsed(1));
    for (const char* option : {"--cold", "--reference"}) {
        const Run refused = run({"diagnose", other, option, path});
        INFO(refused.err);
        CHECK(refused.code == 5);
        CHECK(refused.out.empty());
        CHECK_THAT(refused.err, Contains(path + " is what was kept of a trip, expected"));
    }
}

TEST_CASE("one channel of an oscilloscope makes a modest diagnosis") {
    const TempFolder folder;
    constexpr double kPeriodS = 1.001 / 60;
    const auto table = [&](double half_a) {
        std::string text = "time_s,v_yoke_a\n";
        for (int i = 0; i < 5250; ++i) {
            const double phase = std::fmod(i * 20e-6, kPeriodS);
            constexpr double kRetraceS = 700e-6;
            const double amperes =
                phase < kRetraceS ? half_a * std::cos(M_PI * phase / kRetraceS)
                                  : half_a * (2 * (phase - kRetraceS) / (kPeriodS - kRetraceS) - 1);
            text += fmt::format("{:.6f},{:.4f}\n", i * 20e-6, amperes);
        }
        return text;
    };
    const auto import = [&](const std::string& name, double half_a) {
        const std::string path = folder.file(name + ".json");
        const Run done = run({"import", folder.write(name + ".csv", table(half_a)), "--standard",
                              "525/59.94", "--out", path});
        INFO(done.err);
        REQUIRE(done.code == 0);
        return path;
    };
    const std::string good = import("good", 0.4);
    const std::string small = import("small", 0.24);
    REQUIRE(run({"profile", "from", good, "--any-record", "--name", "Q", "--out",
                 folder.file("p.json")})
                .code == 0);
    // 40 % less and nothing else: ramp, sense resistor, output and yoke can all do that, and
    // nothing here tells one from another. Modest: no part is named, and no section either.
    const Json found = diagnosed({small, "--profile", folder.file("p.json")}, 1);
    INFO(found.dump(1));
    CHECK(found["outcome"] == "cannot tell");
    CHECK(found["suspects"][0]["probability"] < 0.5);
    CHECK(diagnosed({good, "--profile", folder.file("p.json")}, 0)["outcome"] == "nothing found");
}

TEST_CASE("the examples in the help of diagnose run as they stand") {
    const TempFolder folder;
    save(folder, "board.json", glimpsed(1));
    save(folder, "warm.json", glimpsed(2));
    save(folder, "cold.json", glimpsed(3));
    save_log(folder, "hold.jsonl", "525/59.94");
    std::filesystem::copy(kProfile, folder.file("quillwood13.profile.json"));
    int count = 0;
    for (std::vector<std::string> arguments : help_examples(run({"diagnose", "--help"}).out)) {
        for (std::string& word : arguments) {
            word = word.find(".json") == std::string::npos ? word : folder.file(word);
        }
        CAPTURE(arguments);
        const Run done = run(arguments);
        CHECK(done.err.empty());
        CHECK((done.code == 0 || done.code == 1)); // a glimpse is no measurement to judge by
        ++count;
    }
    CHECK(count == 2);
}
