// SPDX-License-Identifier: MIT
// The virtual bench's own options that do not need a client: faults.
#include "tests/cli/process.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <sstream>

using Catch::Contains;

namespace {

Finished virtual_bench(const std::vector<std::string>& arguments) {
    return run_program(VIRTUAL_BENCH_PROGRAM, arguments);
}

/// The value of a component as --list-settings shows it.
double listed(const std::vector<std::string>& arguments, const std::string& path) {
    std::vector<std::string> words = arguments;
    words.emplace_back("--list-settings");
    const Finished done = virtual_bench(words);
    REQUIRE(done.exit_code == 0);
    std::istringstream lines(done.out);
    for (std::string line; std::getline(lines, line);) {
        std::istringstream columns(line);
        std::string name;
        double value = 0;
        if (columns >> name >> value && name == path) {
            return value;
        }
    }
    FAIL(path << " is not listed");
    return 0;
}

} // namespace

TEST_CASE("The virtual bench lists its faults with their sections") {
    const Finished done = virtual_bench({"--list-faults"});
    CHECK(done.exit_code == 0);
    CHECK_THAT(done.out, Contains("v_coupling_dried"));
    CHECK_THAT(done.out, Contains("line AFC"));
    CHECK_THAT(done.out, Contains("comes with the heat sink's temperature"));
}

TEST_CASE("a fault option bends components, after the board file and --set, and several are there at once") {
    const std::string path = "vertical_output.coupling_f";
    const double factor = std::sqrt(0.7 * 0.03); // of v_coupling_dried at a severity of 0.5
    CHECK(listed({}, path) == Approx(1000e-6));
    CHECK(listed({"--fault", "v_coupling_dried=0.5"}, path) ==
          Approx(factor * 1000e-6).epsilon(1e-5));
    CHECK(listed({"--fault", "v_coupling_dried=0.5", "--set", path + "=2e-3"}, path) ==
          Approx(factor * 2e-3).epsilon(1e-5));
    const std::vector<std::string> two{"--fault", "v_ic_reversed", "--fault", "h_joint_bad"};
    CHECK(listed(two, "vertical_ic.reversed") == 1);
    CHECK(listed(two, "line_yoke.plug_ohm") == 4);
}

TEST_CASE("A fault that is not there, and a severity that is none, are refused with what to do") {
    const auto refused = [](const std::vector<std::string>& words) {
        const Finished done = virtual_bench(words);
        CHECK(done.exit_code == 2);
        CHECK(done.out.empty());
        return done.err;
    };
    CHECK_THAT(refused({"--fault", "v_copling_dried"}), Contains("did you mean"));
    CHECK_THAT(refused({"--fault", "afc_open=2"}), Contains("expected 0"));
    CHECK_THAT(refused({"--fault", "afc_open", "--fault", "afc_open=0.1"}), Contains("twice"));
}
