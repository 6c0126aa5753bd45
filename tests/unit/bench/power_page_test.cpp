// SPDX-License-Identifier: MIT
#include "tests/unit/bench/power_page.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

TEST_CASE("docs/power.md is what the tables of causes and limits say") {
    std::ostringstream text;
    text << std::ifstream(YOKEDOCK_POWER_PAGE).rdbuf();
    INFO("stale? cmake --build build/dev --target power_page");
    CHECK((text.str() == renewed_power_page(text.str())));
    CHECK(text.str().size() > 1000);
}

TEST_CASE("docs/power.md names every stage of a start") {
    std::ostringstream text;
    text << std::ifstream(YOKEDOCK_POWER_PAGE).rdbuf();
    std::string word;
#define X(id, name)                                                                                \
    word = "| `" name "` |";                                                                       \
    INFO(word);                                                                                    \
    CHECK(text.str().find(word) != std::string::npos);
    YOKEDOCK_ENERGISE_STAGES(X)
#undef X
}
