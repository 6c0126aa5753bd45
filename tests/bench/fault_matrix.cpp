// SPDX-License-Identifier: MIT
// Every fault of the simulated board, measured and diagnosed; prints docs/fault_matrix.md. Prints
// and never judges. Usage: fault_matrix [SEEDS [HEALTHY]] > page.md, or
// fault_matrix --show FAULT SEVERITY.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "host/record/catalogue_file.hpp"
#include "host/record/evidence.hpp"
#include "host/report/diagnosis_report.hpp"
#include <cstdio>
#include <cstdlib>
#include <random>

using namespace yokedock;

namespace {

constexpr double kSeverities[] = {0.6, 1.0};

struct Tally {
    int runs = 0, first = 0, third = 0, section = 0, missed = 0, unclear = 0;
    void add(const Tally& t) {
        runs += t.runs;
        first += t.first;
        third += t.third;
        section += t.section;
        missed += t.missed;
        unclear += t.unclear;
    }
};

struct Rig {
    sim::BoardParameters board;
    record::Profile profile;
    diagnose::Catalogue catalogue;

    [[nodiscard]] diagnose::Diagnosis judge(const sim::BoardParameters& b,
                                            const std::vector<sim::FaultUse>& live,
                                            std::uint32_t seed) const {
        sim::ModelBenchOptions options;
        options.sync = *sim::find_standard("525/59.94");
        options.seconds = sim::kQuickSeconds;
        options.seed = seed;
        options.live = live;
        options.warm_up_s = live.empty() ? 0 : 1800; // what comes with heat, and only then
        const auto window = [](const record::ProfileAxis& axis) {
            return analysis::SyncWindow{axis.visible_us->from * 1e-6, axis.visible_us->to * 1e-6};
        };
        options.analysis.vertical_window = window(profile.vertical);
        options.analysis.horizontal_window = window(profile.horizontal);
        const sim::ModelMeasurement m = sim::run_model_bench(b, options);
        return diagnose::diagnose(catalogue, record::evidence_from(catalogue, m.result.figures,
                                                                   capture::to_observation(m.raw),
                                                                   profile, nullptr));
    }
};

Tally tally(const diagnose::Diagnosis& d, const std::string& id, const std::string& section) {
    Tally t;
    t.runs = 1;
    t.missed = d.outcome == diagnose::Outcome::kHealthy ? 1 : 0;
    t.unclear = d.outcome == diagnose::Outcome::kUnclear ? 1 : 0;
    if (t.missed == 0) {
        t.first = d.suspects[0].fault->id == id ? 1 : 0;
        t.section = d.section == section ? 1 : 0;
        for (std::size_t k = 0; k < 3; ++k) {
            t.third += d.suspects[k].fault->id == id ? 1 : 0;
        }
    }
    return t;
}

void print(const std::string& name, const Tally& t, const std::string& mostly) {
    std::printf("| %s | %d | %d | %d | %d | %d | %d | %s |\n", name.c_str(), t.runs, t.section,
                t.first, t.third, t.unclear, t.missed, mostly.c_str());
    std::fflush(stdout);
}

void run(const Rig& rig, std::uint32_t seeds, std::uint32_t healthy) {
    std::printf("| fault | runs | section first | fault first | in first 3 | cannot tell | "
                "nothing found | first suspect at the last run |\n"
                "|---|---|---|---|---|---|---|---|\n");
    Tally all;
    for (const diagnose::FaultRow& row : rig.catalogue.faults) {
        Tally sum;
        std::string mostly;
        for (const double severity : kSeverities) {
            const auto use = sim::use_fault(row.id, severity);
            if (!use) {
                std::fprintf(stderr, "%s\n", use.error().text.c_str());
                continue;
            }
            for (std::uint32_t seed = 1; seed <= seeds; ++seed) {
                sim::FaultyBoard faulty;
                faulty.parameters = rig.board;
                if (const Status fits = sim::fit_fault(faulty, use.value()); !fits) {
                    std::fprintf(stderr, "%s\n", fits.error().text.c_str());
                    continue;
                }
                const auto d = rig.judge(faulty.parameters, faulty.live, 100 * seed);
                sum.add(tally(d, row.id, row.section));
                mostly = d.outcome == diagnose::Outcome::kHealthy ? std::string("(good board)")
                                                                  : d.suspects[0].fault->id;
            }
        }
        print(row.id, sum, mostly);
        all.add(sum);
    }
    print("**all**", all, "");
    int alarms = 0;
    for (std::uint32_t seed = 1; seed <= healthy; ++seed) {
        alarms +=
            rig.judge(rig.board, {}, 7000 + seed).outcome == diagnose::Outcome::kHealthy ? 0 : 1;
    }
    std::printf("\nGood boards suspected: %d of %u.\n", alarms, healthy);
}

/// One fault in full, as the command prints it.
int show(const Rig& rig, const char* id, double severity) {
    const auto use = sim::use_fault(id, severity);
    sim::FaultyBoard faulty;
    faulty.parameters = rig.board;
    if (!use || !sim::fit_fault(faulty, use.value())) {
        std::fprintf(stderr, "no such fault or severity\n");
        return 2;
    }
    std::printf("%s",
                report::diagnosis_text(rig.judge(faulty.parameters, faulty.live, 100), {}).c_str());
    return 0;
}

} // namespace

int main(int argc, char** argv) {
    const auto board = sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json");
    const auto profile = record::load_profile(YOKEDOCK_BOARDS "/quillwood13.profile.json");
    const auto catalogue = record::built_in_catalogue();
    if (!board || !profile || !catalogue) {
        std::fprintf(stderr, "board, profile or catalogue cannot be read\n");
        return 5;
    }
    const auto number = [&](int k, unsigned usual) {
        return argc > k ? static_cast<std::uint32_t>(std::strtoul(argv[k], nullptr, 10)) : usual;
    };
    const Rig rig{board.value().parameters, profile.value(), catalogue.value()};
    if (argc == 4 && std::string(argv[1]) == "--show") {
        return show(rig, argv[2], std::atof(argv[3]));
    }
    run(rig, number(1, 4), number(2, 40));
    return 0;
}
