// SPDX-License-Identifier: MIT
// docs/sweep.md names every part, state and key that a log can hold: the page must not become
// stale.
#include "host/record/sweep_json.hpp"
#include "host/report/sweep_csv.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace yokedock;
using Catch::Contains;

namespace {

std::string page() {
    std::ifstream in(YOKEDOCK_SOURCE_FOLDER "/docs/sweep.md");
    std::ostringstream out;
    out << in.rdbuf();
    return out.str();
}

template <class Visit> void for_each_key(const nlohmann::json& json, Visit visit) {
    if (json.is_structured()) {
        for (const auto& [key, value] : json.items()) {
            if (json.is_object()) {
                visit(key);
            }
            // These are described elsewhere: protocol.md and record.md.
            if (key != "sync" && key != "identity" && key.rfind("free_run", 0) != 0) {
                for_each_key(value, visit);
            }
        }
    }
}

} // namespace

TEST_CASE("docs/sweep.md lists every part of a sweep and every state with its words") {
    const std::string text = page();
#define X(name, word, meaning) CHECK_THAT(text, Contains("| `" word "` | " meaning " |"));
    YOKEDOCK_SWEEP_PARTS(X)
#undef X
#define X(name, word) CHECK_THAT(text, Contains("`" word "`"));
    YOKEDOCK_LOCK_STATES(X)
#undef X
}

TEST_CASE("docs/sweep.md names every key of a log") {
    const std::string text = page();
    std::istringstream lines(text_of(example_log()));
    std::size_t keys = 0;
    for (std::string line; std::getline(lines, line);) {
        for_each_key(nlohmann::json::parse(line), [&](const std::string& key) {
            CHECK_THAT(text, Contains("`" + key + "`"));
            ++keys;
        });
    }
    CHECK(keys > 250);
}
