// SPDX-License-Identifier: MIT
#include "host/report/text.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock::report;

TEST_CASE("a value has as many digits as its uncertainty makes sense of") {
    CHECK(quantity_text(59.9400599, 0.000123, "Hz") == "59.94006 +- 0.00012 Hz");
    CHECK(quantity_text(0.80123, 0.0456, "A") == "0.801 +- 0.046 A");
    CHECK(quantity_text(15734.2657, 1.25, "Hz") == "15734.3 +- 1.2 Hz");
    CHECK(quantity_text(12345, 456, "") == "12350 +- 460");
    CHECK(quantity_text(100, 10, "%") == "100 +- 10 %");
    CHECK(quantity_text(-0.0001, 0.12, "A") == "0.00 +- 0.12 A");
    CHECK(quantity_text(1.5, 0, "V") == "1.5 V");
    CHECK(quantity_text(1.5, std::nan(""), "V") == "1.5 V");
    CHECK(number_text(std::nan(""), 1) == "-");
}

TEST_CASE("an uncertainty that rounds up to the next power of ten keeps its digits") {
    CHECK(quantity_text(1, 0.0996, "") == "1.000 +- 0.100");
}

TEST_CASE("text is wrapped at blanks, and a word that is too long is cut") {
    CHECK(wrapped("one two three", 7) == std::vector<std::string>{"one two", "three"});
    CHECK(wrapped("abcdefghij", 4) == std::vector<std::string>{"abcd", "efgh", "ij"});
    CHECK(wrapped("a abcdefgh b", 4) == std::vector<std::string>{"a", "abcd", "efgh", "b"});
    CHECK(wrapped("", 4) == std::vector<std::string>{""});
    CHECK(paragraph("* ", "one two three", 9) == "* one two\n  three\n");
}

TEST_CASE("what a file brought along cannot reach the terminal as control codes") {
    CHECK(printable("a\x1b[31mb\n\xC3\xA9") == "a?[31mb???");
}
