// SPDX-License-Identifier: MIT
// A sample of the fault matrix's training boards, measured once and stored: what the diagnosis
// makes of them may get better, not worse. How good it is, on boards it was not made with, is
// docs/fault_matrix.md. The floors are what was reached when the sample was stored, less one board:
// a row that is derived better for one fault may cost one of another.
#include "host/record/catalogue_file.hpp"
#include "tests/bench/matrix/page.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;

namespace {

constexpr int kSection = 42, kFirst = 36, kThird = 45; // of 50

} // namespace

TEST_CASE("Of a stored sample of faulty boards no fewer are told than before") {
    const auto catalogue = record::built_in_catalogue();
    REQUIRE(catalogue);
    matrix::Stored stored;
    const Status read = matrix::read_stored(YOKEDOCK_MATRIX_SAMPLE, stored);
    if (!read) {
        FAIL(read.error().text);
    }
    int faulty = 0, good = 0, section = 0, first = 0, third = 0, accused = 0, missed = 0;
    std::string lost;
    for (const matrix::Case& c : stored.cases) {
        const matrix::Judged j = matrix::judge(catalogue.value(), stored, c);
        const bool nothing = j.diagnosis.outcome == diagnose::Outcome::kHealthy;
        if (c.fault.empty()) {
            ++good;
            accused += nothing ? 0 : 1;
            continue;
        }
        ++faulty;
        missed += nothing ? 1 : 0;
        section += !nothing && j.diagnosis.section == j.section ? 1 : 0;
        first += !nothing && j.place == 0 ? 1 : 0;
        third += !nothing && j.place < 3 ? 1 : 0;
        if (nothing || j.place >= 3) {
            lost += " " + c.fault;
        }
    }
    INFO("section " << section << ", first " << first << ", in first 3 " << third << ", missed "
                    << missed << ", good ones accused " << accused << "; not in first 3:" << lost);
    REQUIRE(faulty == 50);
    REQUIRE(good == 12);
    CHECK(section >= kSection);
    CHECK(first >= kFirst);
    CHECK(third >= kThird);
    CHECK(accused == 0);
}
