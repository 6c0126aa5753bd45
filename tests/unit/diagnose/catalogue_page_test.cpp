// SPDX-License-Identifier: MIT
#include "host/record/catalogue_file.hpp"
#include "tests/unit/diagnose/catalogue_page.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

TEST_CASE("docs/catalogue.md says what the catalogue of faults says") {
    std::ifstream file(YOKEDOCK_CATALOGUE_PAGE);
    std::stringstream text;
    text << file.rdbuf();
    INFO("stale? cmake --build build/dev --target catalogue_page");
    CHECK((text.str() ==
           yokedock::test::catalogue_page(yokedock::record::built_in_catalogue().value())));
}
