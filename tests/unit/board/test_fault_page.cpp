// SPDX-License-Identifier: MIT
#include "tests/unit/board/fault_page.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

TEST_CASE("docs/board_faults.md is what the fault table says") {
    std::ifstream file(YOKEDOCK_FAULT_PAGE);
    std::ostringstream text;
    text << file.rdbuf();
    INFO("stale? cmake --build build/dev --target fault_page");
    CHECK((text.str() == yokedock::test::fault_page()));
}
