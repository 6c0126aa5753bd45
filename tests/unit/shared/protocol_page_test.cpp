// SPDX-License-Identifier: MIT
#include "tests/unit/shared/protocol_page.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

TEST_CASE("docs/protocol.md is what the message table says") {
    std::ifstream file(YOKEDOCK_PROTOCOL_PAGE);
    std::ostringstream text;
    text << file.rdbuf();
    INFO("stale? cmake --build build --target protocol_page");
    CHECK((text.str() == yokedock::test::protocol_page()));
}
