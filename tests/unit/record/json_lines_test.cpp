// SPDX-License-Identifier: MIT
#include "host/record/json_lines.hpp"
#include <catch2/catch.hpp>

using namespace yokedock::record;

TEST_CASE("every value of a JSON text has the line of its key, elements their own") {
    const JsonLines lines = find_json_lines("{\"a\": 1,\n"
                                            " \"b\": {\"c\":\n"
                                            "   [10,\n"
                                            "    {\"d\": \"x\\\"}, {\"},\n"
                                            "    [\n"
                                            "     true]]},\n"
                                            " \"e\\u0066\": null\n}");
    CHECK(lines.line("") == 1);
    CHECK(lines.line("a") == 1);
    CHECK(lines.line("b") == 2);
    CHECK(lines.line("b.c") == 2);
    CHECK(lines.line("b.c[0]") == 3);
    CHECK(lines.line("b.c[1]") == 4);
    CHECK(lines.line("b.c[1].d") == 4);
    CHECK(lines.line("b.c[2]") == 5);
    CHECK(lines.line("b.c[2][0]") == 6);
    CHECK(lines.line("ef") == 7); // escapes in a key are undone
    CHECK(lines.repeated.empty());
}

TEST_CASE("a place that is not there has the line of what it would stand in") {
    const JsonLines lines = find_json_lines("{\n\"a\": {\n\"b\": 1}}");
    CHECK(lines.line("a.missing") == 2);
    CHECK(lines.line("a.b.c[3].d") == 3);
    CHECK(lines.line("missing") == 1);
}

TEST_CASE("keys given twice in one object are found, the same key in two objects is not one") {
    const JsonLines lines =
        find_json_lines("[{\"a\": 1,\n\"b\": {\"a\": 2},\n\"a\": 3},\n{\"a\": 4}]");
    REQUIRE(lines.repeated.size() == 1);
    CHECK(lines.repeated[0].path == "[0].a");
    CHECK(lines.repeated[0].line == 3);
}

TEST_CASE("texts that are no JSON and deep ones do no harm") {
    for (const char* text :
         {"", "}", "]]]", "\"", "\"\\", "{\"a", "{:,", "{\"\": {\"\": 1}}", "nul"}) {
        CHECK(find_json_lines(text).line("x") == 1);
    }
    const std::string deep(200000, '[');
    CHECK(find_json_lines(std::string(3000, '[')).line("[0]") == 1);
    CHECK(find_json_lines("{\"a\": " + std::string(2000, '[')).line("a[0]") == 1);
}
