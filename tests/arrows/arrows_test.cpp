// SPDX-License-Identifier: MIT
#include "tests/arrows/arrow_rules.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>

using Catch::Contains;

namespace {

/// What the check says of a tree of one file.
std::vector<std::string> said_of(const std::string& file, const std::string& text) {
    const TempFolder folder;
    const auto path = folder.path() / file;
    std::filesystem::create_directories(path.parent_path());
    std::ofstream(path) << text;
    return broken_arrows(folder.path().string());
}

} // namespace

TEST_CASE("the project's own sources keep to the arrows") {
    for (const std::string& broken : broken_arrows(YOKEDOCK_SOURCE_FOLDER)) {
        FAIL_CHECK(broken);
    }
}

TEST_CASE("the check really looks at the project") {
    CHECK(std::filesystem::exists(std::filesystem::path(YOKEDOCK_SOURCE_FOLDER) /
                                  "host/record/file.cpp"));
}

TEST_CASE("every kind of wrong arrow is found, with file and line") {
    struct Case {
        const char* file;
        const char* text;
    };
    const Case cases[] = {
        {"host/link/a.cpp", "#include \"host/bench/bench.hpp\""},
        {"host/analysis/a.hpp", "#include \"host/report/table.hpp\""},
        {"host/record/a.hpp", "#  include <host/cli/seams.hpp>"},
        {"host/a.hpp", "#include \"host/link/stop.hpp\""},
        {"host/cli/a.cpp", "#include \"demo/virtual_bench/board_port.hpp\""},
        {"host/cli/a.cpp", "#include \"tests/cli/process.hpp\""},
        {"host/bench/a.cpp", "#include \"firmware/core/x.hpp\""},
        {"shared/a.hpp", "#include \"host/result.hpp\""},
        {"shared/a.hpp", "#include <avr/io.h>"},
        {"firmware/core/a.hpp", "#include <avr/interrupt.h>"},
        {"firmware/core/a.hpp", "#include \"firmware/ports/avr/x.hpp\""},
        {"firmware/ports/avr/a.hpp", "#include \"host/result.hpp\""},
        {"demo/virtual_bench/board/a.cpp", "#include <simavr/sim_avr.h>"},
        {"demo/virtual_bench/system/a.cpp", "#include \"sim_avr.h\""},
        {"host/bench/a.cpp", "#include <libserialport.h>"},
        {"host/analysis/a.cpp", "#include <iostream>"},
        {"host/report/a.cpp", "auto t = std::chrono::steady_clock::now();"},
        {"host/diagnose/a.cpp", "#include \"host/bench/bench.hpp\""},
        {"host/capture/a.cpp", "std::cout << 1;"},
        {"host/cli/a.cpp", "std::ofstream(\"x\") << 1;"},
        {"host/link/a.cpp", "/* x */ std::exit(1);"},
    };
    for (const Case& c : cases) {
        INFO(c.file << " " << c.text);
        const auto said = said_of(c.file, std::string("// first line\n") + c.text + "\n");
        REQUIRE_FALSE(said.empty());
        CHECK_THAT(said[0], Contains(std::string(c.file) + ":2: "));
    }
}

TEST_CASE("right arrows, and words in comments and texts, are let pass") {
    CHECK(said_of("host/cli/a.cpp",
                  "#include \"host/link/stop.hpp\"\n#include <iostream>\nstd::cout << 1;\n")
              .empty());
    CHECK(said_of("firmware/ports/avr/a.cpp", "#include <avr/io.h>\n").empty());
    CHECK(said_of("demo/virtual_bench/chip/a.cpp", "#include <simavr/sim_avr.h>\n").empty());
    CHECK(said_of("host/link/a.cpp",
                  "// std::cout\n/* std::exit(1)\nstd::cerr */ auto t = \"std::cout\";\n")
              .empty());
    CHECK(said_of("host/link/a.cpp", "auto t = Clock::now();\n").empty());
}
