// SPDX-License-Identifier: MIT
// Measures the boards of the matrix of faults; fault_matrix judges them. Usage:
//   fault_matrix_measure training|reporting SEEDS HEALTHY FIRST_SEED SHARE OF > cases.jsonl
// Every fault at three severities on SEEDS boards (designs taken in turn), HEALTHY good boards.
// SHARE 0 .. OF - 1: every OF-th case, so that processes share the work. The designs' expectations
// come first.
#include "host/record/catalogue_file.hpp"
#include "tests/bench/matrix/store.hpp"
#include <cstdio>
#include <cstdlib>
#include <cstring>

using namespace yokedock;

namespace {

constexpr double kSeverities[] = {0.3, 0.65, 1.0};

struct Job {
    std::vector<matrix::Design> designs;
    diagnose::Catalogue catalogue;
    unsigned share = 0, of = 1, number = 0;

    void run(const std::string& fault, double severity, std::uint32_t seed) {
        const unsigned mine = number++ % of;
        if (mine != share) {
            return;
        }
        const auto measured =
            matrix::measure_case(catalogue, designs[seed % designs.size()], fault, severity, seed);
        if (!measured) {
            std::fprintf(stderr, "%s\n", measured.error().text.c_str());
            return;
        }
        std::printf("%s\n", matrix::case_line(measured.value()).c_str());
        std::fflush(stdout);
    }
};

} // namespace

int main(int argc, char** argv) {
    const auto catalogue = record::built_in_catalogue();
    auto designs = matrix::load_designs(YOKEDOCK_BOARDS);
    if (argc != 7 || !catalogue || !designs) {
        std::fprintf(stderr,
                     "usage: fault_matrix_measure training|reporting SEEDS HEALTHY "
                     "FIRST_SEED SHARE OF%s%s\n",
                     designs ? "" : "; ", designs ? "" : designs.error().text.c_str());
        return 2;
    }
    const auto number = [&](int k) {
        return static_cast<std::uint32_t>(std::strtoul(argv[k], nullptr, 10));
    };
    Job job;
    job.catalogue = catalogue.value();
    job.share = number(5);
    job.of = std::max(1U, number(6));
    for (matrix::Design& design : designs.value()) {
        if (design.training == (std::strcmp(argv[1], "training") == 0)) {
            matrix::learn_profile(job.catalogue, design);
            std::printf("%s\n", matrix::expected_line(design).c_str());
            job.designs.push_back(std::move(design));
        }
    }
    const std::uint32_t first = number(4);
    const std::uint32_t seeds = std::max(1U, number(2));
    std::uint32_t good = 0;
    for (std::uint32_t k = 0; k < seeds; ++k) { // whole rounds: what is stopped is still balanced
        for (const sim::Fault& fault : sim::fault_table()) {
            for (const double severity : kSeverities) {
                job.run(std::string(fault.id), severity, first + k);
            }
        }
        for (; good < number(3) * (k + 1) / seeds; ++good) {
            job.run("", 0, first + 100000 + good);
        }
    }
    return 0;
}
