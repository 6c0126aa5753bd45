// SPDX-License-Identifier: MIT
// The program on files and on wrong options: no bench needed.
#include "tests/cli/fixture.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using Catch::Contains;
using Json = nlohmann::json;

TEST_CASE(
    "help is printed to standard output, grouped, and ends with an example and the exit codes") {
    const TempFolder folder;
    const Finished help = yokedock({"--help"}, folder);
    CHECK(help.exit_code == 0);
    CHECK(help.err.empty());
    CHECK_THAT(help.out, Contains("Bench:") && Contains("Measure a board:") &&
                             Contains("Exit codes:") && Contains("Example:"));
    for (const char* command :
         {"find", "run", "measure", "sweep", "analyse", "compare", "import", "profile"}) {
        CHECK_THAT(help.out, Contains(command));
        const Finished one = yokedock({command, "--help"}, folder);
        CHECK(one.exit_code == 0);
        CHECK_THAT(one.out, Contains("Example") && Contains(std::string("yokedock ") + command));
    }
    CHECK_THAT(yokedock({"--version"}, folder).out, Contains("yokedock 0."));
}

TEST_CASE("the help of every command that sends anything to a board shows the cautions") {
    const TempFolder folder;
    for (const char* command : {"measure", "run", "sweep"}) {
        CHECK_THAT(yokedock({command, "--help"}, folder).out,
                   Contains("lethal voltage") && Contains("isolation transformer") &&
                       Contains("far below nominal") && Contains("X-ray"));
    }
}

TEST_CASE("wrong usage is exit code 2 with one line that says what to do, and nothing on standard "
          "output") {
    const TempFolder folder;
    const std::string bench = "tcp:127.0.0.1:1";
    const std::vector<std::vector<std::string>> cases{
        {},
        {"nosuch"},
        {"measure"},
        {"measure", "--bench", bench},
        {"measure", "--bench", bench, "--standard", "405/50"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--nosuch"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--line-rate-hz", "abc"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--line-rate-hz", "-15734"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--line-rate-hz", "31468"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--lines-per-field", "262.25"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--lines-per-field", "nan"},
        {"measure", "--bench", bench, "--standard", "262", "--lines-per-field", "262.5"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--line-sync-us", "60"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--settle-s", "-1"},
        {"measure", "--bench", bench, "--standard", "525/59.94", "--settle-s", "inf"},
        {"measure", "--bench", "nonsense", "--standard", "525/59.94"},
        {"run", "--bench", bench, "--standard", "525/59.94", "--duration-s", "-3"},
        {"sweep"},
        {"sweep", "--bench", bench},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "diagonal"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--low-hz", "50"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "vertical", "--low-hz",
         "60"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "vertical", "--high-hz",
         "59"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "vertical", "--step-hz",
         "0"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "vertical",
         "--resolution-hz", "nan"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--dwell-s", "-1"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--acquire-s", "inf"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "horizontal", "--low-hz",
         "11000"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "horizontal", "--low-hz",
         "9000", "--allow-low"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--axis", "horizontal", "--high-hz",
         "21000"},
        {"sweep", "--bench", bench, "--standard", "525/59.94", "--duration-s", "3"},
        {"sweep", "--from", "a", "--resume", "b"},
        {"sweep", "--from", "a", "--bench", bench},
        {"sweep", "--from", "a", "--watch"},
        {"find", "nonsense"},
        {"analyse"},
        {"import"},
        {"import", "x.csv", "--column", "v_yoke_a"},
        {"import", "x.csv", "--scale", "v_yoke_a=zero"},
        {"import", "x.csv", "--scale", "v_yoke_a=0"},
        {"import", "x.csv", "--scale", "time_s=-1"},
        {"import", "x.csv", "--standard", "405"},
        {"import", "x.csv", "--line-rate-hz", "5"},
        {"import", "x.csv", "--gain-u-pct", "200"},
    };
    for (std::vector<std::string> arguments : cases) {
        const bool drives = arguments.size() > 3 && arguments[1] == "--bench";
        if (drives) { // so that this is not what is wrong
            arguments = powered(arguments);
        }
        std::string words;
        for (const std::string& argument : arguments) {
            words += argument + ' ';
        }
        INFO(words);
        const Finished run = yokedock(arguments, folder);
        CHECK(run.exit_code == 2);
        CHECK(run.out.empty());
        CHECK_THAT(run.err, Contains("yokedock: "));
    }
    CHECK(folder.entries() == 0);
}

TEST_CASE("a misspelt command or option is named, not what is missing because of it") {
    const TempFolder folder;
    CHECK_THAT(yokedock({"mesure"}, folder).err,
               Contains("\"mesure\"") && Contains("measure") && Contains("sweep"));
    CHECK_THAT(yokedock({"profile", "chek", "p.json"}, folder).err,
               Contains("\"chek\"") && Contains("check"));
    CHECK_THAT(yokedock({"measure", "--bnech", "tcp:127.0.0.1:1"}, folder).err,
               Contains("\"--bnech\" is no option of yokedock measure"));
    CHECK_THAT(yokedock({"measure"}, folder).err, Contains("--bench is required"));
}

TEST_CASE("a profile or a sweep log in a record's place is told as what it is") {
    const TempFolder folder;
    (void)folder.write("p.json",
                       R"({"schema": 2, "name": "Quillwood 13", "standard": "525/59.94"})");
    (void)folder.write("s.jsonl", "{\"kind\":\"header\"}\n{\"kind\":\"step\"}\n");
    const Finished profile = yokedock({"analyse", "p.json"}, folder);
    CHECK(profile.exit_code == 5);
    CHECK_THAT(profile.err, Contains("looks like a profile") && Contains("--profile"));
    const Finished log = yokedock({"analyse", "s.jsonl"}, folder);
    CHECK(log.exit_code == 5);
    CHECK_THAT(log.err, Contains("sweep log") && Contains("--from"));
}

TEST_CASE("a bench that is not there is exit code 3") {
    const TempFolder folder;
    for (const char* address : {"tcp:127.0.0.1:1", "unix:/nonexistent/bench"}) {
        CHECK(yokedock(powered({"measure", "--bench", address, "--standard", "525/59.94"}), folder)
                  .exit_code == 3);
    }
    const Finished find = yokedock({"find", "tcp:127.0.0.1:1"}, folder);
    CHECK(find.exit_code == 3);
    CHECK_THAT(find.err, Contains("yokedock_virtual_bench")); // how to start the virtual bench
    CHECK(folder.entries() == 0);
}

TEST_CASE("an oscilloscope file becomes a record, a table, JSON and pictures") {
    const TempFolder folder;
    (void)folder.write("scope.csv", scope_csv("time_s,CH1"));
    const Finished import = yokedock({"import", "scope.csv", "--column", "v_yoke_a=CH1",
                                      "--standard", "525/59.94", "--out", "board.json", "--note",
                                      "as found", "--svg", "b.svg", "--png", "b.png", "--plot"},
                                     folder);
    INFO(import.err);
    REQUIRE(import.exit_code == 0);
    CHECK_THAT(import.out, Contains("Imported") && Contains("note: as found") &&
                               Contains("vertical rate") && Contains("Vertical ramp"));
    CHECK_THAT(import.err, Contains("record: board.json"));
    CHECK(Json::parse(folder.read("board.json")).at("imported").at("source_files").at(0) ==
          "scope.csv");
    CHECK_THAT(folder.read("b.svg"), Contains("<svg"));
    CHECK(folder.read("b.png").substr(1, 3) == "PNG");
    CHECK(folder.entries() == 4);

    const Finished analyse = yokedock({"analyse", "board.json", "--json"}, folder);
    REQUIRE(analyse.exit_code == 0);
    const Json json = Json::parse(analyse.out);
    CHECK(json.at("schema") == 1);
    CHECK(json.at("command") == "analyse");
    bool found = false;
    for (const Json& figure : json.at("figures")) {
        if (figure.at("name") == "v_rate_hz") {
            found = true;
            // 8 retraces; 20 us samples place each to a few us, so 59.94 Hz is known to about 1e-4.
            CHECK(figure.at("value").get<double>() == Approx(59.94).epsilon(3e-4));
        }
    }
    CHECK(found);
}

TEST_CASE("a record is compared with another in words and in JSON") {
    const TempFolder folder;
    (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
    REQUIRE(
        yokedock({"import", "scope.csv", "--standard", "525/59.94", "--out", "good.json"}, folder)
            .exit_code == 0);
    REQUIRE(yokedock({"import", "scope.csv", "--standard", "525/59.94", "--scale", "v_yoke_a=0.5",
                      "--scale", "time_s=1.1", "--out", "bad.json"},
                     folder)
                .exit_code == 0);
    const Finished text = yokedock({"analyse", "bad.json", "--against", "good.json"}, folder);
    CHECK(text.exit_code == 0);
    std::string flat = text.out; // sentences are wrapped
    std::replace(flat.begin(), flat.end(), '\n', ' ');
    // Times stretched by 1.1 make the rate 1 / 1.1 of it: 9.1 % lower.
    CHECK_THAT(flat, Contains("Vertical rate:") && Contains("Hz (9.1 %) lower"));
    CHECK_THAT(flat, Contains("Vertical size:") && Contains("A (50 %) smaller"));
    const Finished json =
        yokedock({"analyse", "bad.json", "--against", "good.json", "--json"}, folder);
    CHECK(Json::parse(json.out).at("against") == "good.json");
}

TEST_CASE(
    "nothing that exists is overwritten without --force, and the default name is always free") {
    const TempFolder folder;
    (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
    (void)folder.write("board.json", "precious");
    const std::vector<std::string> base{"import", "scope.csv", "--standard", "525/59.94"};
    auto named = base;
    named.insert(named.end(), {"--out", "board.json"});
    const Finished refused = yokedock(named, folder);
    CHECK(refused.exit_code == 5);
    CHECK_THAT(refused.err, Contains("--force"));
    CHECK(folder.read("board.json") == "precious");
    named.push_back("--force");
    CHECK(yokedock(named, folder).exit_code == 0);
    CHECK(folder.read("board.json") != "precious");
    CHECK(yokedock(base, folder).exit_code == 0);
    CHECK(yokedock(base, folder).exit_code == 0);
    CHECK(folder.entries() == 4);
}

TEST_CASE("every kind of bad file is exit code 5 with its name") {
    const TempFolder folder;
    (void)folder.write("bad.csv", "time_s,v_yoke_a\n0,1\n1,x\n");
    (void)folder.write("bad.json", "{\"schema\": 1");
    (void)folder.write("newer.json", "{\"format\": \"yokedock record\", \"schema\": 99}");
    (void)folder.write("ok.csv", scope_csv("time_s,v_yoke_a"));
    const std::vector<std::vector<std::string>> cases{
        {"import", "bad.csv"},
        {"import", "missing.csv"},
        {"import", "."},
        {"analyse", "bad.json"},
        {"analyse", "newer.json"},
        {"analyse", "missing.json"},
        {"analyse", "ok.csv"},
        {"import", "ok.csv", "--profile", "bad.json"},
        {"import", "ok.csv", "--out", "no/such/folder/x.json"},
        {"import", "ok.csv", "--svg", "no/such/folder/x.svg"},
        {"measure", "--bench", "tcp:127.0.0.1:1", "--profile", "bad.json"},
        {"measure", "--bench", "tcp:127.0.0.1:1", "--standard", "625/50", "--out", "bad.json",
         "--supply", "outside"},
    };
    for (const auto& arguments : cases) {
        INFO(arguments[0] + " " + arguments[1]);
        const Finished run = yokedock(arguments, folder);
        CHECK(run.exit_code == 5);
        CHECK(run.out.empty());
    }
    CHECK_THAT(yokedock({"import", "bad.csv"}, folder).err, Contains("bad.csv, line 3"));
    CHECK(folder.entries() == 4);
}

TEST_CASE("results that cannot be written are an error, not silence") {
    const TempFolder folder;
    (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
    const Finished full = run_program(
        "/bin/sh", {"-c", "exec " YOKEDOCK_PROGRAM " --help > /dev/full"}, folder.path().string());
    CHECK(full.exit_code == 5);
}
