// SPDX-License-Identifier: MIT
// Judges measured boards (fault_matrix_measure) and prints docs/fault_matrix.md. Prints and never
// passes or fails. Usage:
//   fault_matrix FILE... > page.md
//   fault_matrix --list FILE...                        a line for each board
//   fault_matrix --show FAULT SEVERITY SEED FILE...    one board as the command prints it
#include "host/record/catalogue_file.hpp"
#include "host/report/diagnosis_report.hpp"
#include "tests/bench/matrix/page.hpp"
#include <cstdio>
#include <cstring>

using namespace yokedock;

namespace {

void list(const matrix::Judged& j) {
    const diagnose::Diagnosis& d = j.diagnosis;
    std::printf("%-26s %.2f %-4u %-22s healthy %.3f other %.3f |", j.measured->fault.c_str(),
                j.measured->severity, j.measured->seed, diagnose::word(d.outcome), d.healthy,
                d.other);
    for (std::size_t k = 0; k < 3 && k < d.suspects.size(); ++k) {
        std::printf(" %s %.3f", d.suspects[k].fault->id.c_str(), d.suspects[k].probability);
    }
    std::printf("\n");
}

} // namespace

int main(int argc, char** argv) {
    const auto catalogue = record::built_in_catalogue();
    if (!catalogue) {
        std::fprintf(stderr, "%s\n", catalogue.error().text.c_str());
        return 5;
    }
    const bool lists = argc > 2 && std::strcmp(argv[1], "--list") == 0;
    const bool shows = argc > 5 && std::strcmp(argv[1], "--show") == 0;
    matrix::Stored stored;
    for (int k = lists ? 2 : shows ? 5 : 1; k < argc; ++k) {
        if (const Status read = matrix::read_stored(argv[k], stored); !read) {
            std::fprintf(stderr, "%s\n", read.error().text.c_str());
            return 5;
        }
    }
    std::vector<matrix::Judged> judged;
    for (const matrix::Case& c : stored.cases) {
        if (shows && (c.fault != argv[2] || c.severity != std::atof(argv[3]) ||
                      c.seed != std::strtoul(argv[4], nullptr, 10))) {
            continue;
        }
        judged.push_back(matrix::judge(catalogue.value(), stored, c));
        if (lists) {
            list(judged.back());
        }
        if (shows) {
            std::printf("%s", matrix::deviations_text(catalogue.value(), stored, c).c_str());
            std::printf("%s", report::diagnosis_text(judged.back().diagnosis, {}).c_str());
        }
    }
    if (!lists && !shows) {
        std::printf("%s", matrix::page(catalogue.value(), stored, judged).c_str());
    }
    return 0;
}
