// SPDX-License-Identifier: MIT
#include "tests/spice/diagnosed.hpp"
#include "host/record/catalogue_file.hpp"
#include "host/record/evidence.hpp"
#include "host/record/profile_learn.hpp"
#include "tests/spice/line_run.hpp"
#include "tests/spice/scope.hpp"
#include "tests/spice/vertical_run.hpp"
#include <fmt/format.h>
#include <stdexcept>

namespace yokedock::spice {
namespace {

using diagnose::Catalogue;

capture::Observation seen(const Waves& waves, const std::string& id, char axis,
                          std::uint32_t seed) {
    if (waves.yoke_a.empty()) {
        throw std::runtime_error(id + ": ngspice gave no waveform");
    }
    Result<record::Import> import = import_scope(scope_csv(waves, axis, seed), axis);
    if (!import) {
        throw std::runtime_error(id + ": " + import.error().text);
    }
    return std::move(import).value().observation;
}

/// Expects of a file what the healthy circuit's file showed.
class Bench {
  public:
    Bench(const Catalogue& catalogue, char axis, const Waves& healthy)
        : catalogue_(catalogue), axis_(axis) {
        profile_.name = "the healthy circuit";
        profile_.standard = "525/59.94";
        const auto figures = analysis::analyse(seen(healthy, "healthy", axis, 1)).figures;
        profile_.expected = record::learn_expected({figures}).expected;
    }
    [[nodiscard]] DiagnosedCase judge(const Waves& waves, const std::string& id,
                                      const std::string& change, std::uint32_t seed) const {
        const capture::Observation observation = seen(waves, id, axis_, seed);
        const auto figures = analysis::analyse(observation).figures;
        const diagnose::Diagnosis found = diagnose::diagnose(
            catalogue_, record::evidence_from(catalogue_, figures, observation, profile_, nullptr));
        DiagnosedCase out{axis_, id, change, found.outcome, found.healthy, 0, 0, {}};
        for (std::size_t i = 0; i < found.suspects.size(); ++i) {
            const diagnose::Suspect& s = found.suspects[i];
            if (i < 3) {
                out.first.push_back({s.fault->id, s.probability});
            }
            if (s.fault->id == id) {
                out.rank = i + 1;
                out.probability = s.probability;
            }
        }
        return out;
    }

  private:
    const Catalogue& catalogue_;
    char axis_;
    record::Profile profile_;
};

bool has_row(const Catalogue& catalogue, const std::string& id) {
    for (const diagnose::FaultRow& row : catalogue.faults) {
        if (row.id == id) {
            return true;
        }
    }
    return false;
}

/// Half of what the demo boards' parts may be off: electrolytics 20 %, others 10 and 5 %. Which
/// way: as the reader of a data sheet would turn it to the bad (all three make the field smaller).
VerticalCase off_value(VerticalCase which) {
    which.values.vertical_output_coupling_f *= 0.9;
    which.values.vertical_output_boost_f *= 0.9;
    which.values.vertical_output_sense_ohm *= 1.025;
    which.change = "coupling and boost capacitor 10 % low, sense resistor 2.5 % high";
    return which;
}

LineCase off_value(LineCase which) {
    which.values.line_output_retrace_f *= 1.05;
    which.values.line_output_s_f *= 0.95;
    which.change = "retrace capacitor 5 % high, S capacitor 5 % low";
    return which;
}

template <class Case, class Run>
std::vector<DiagnosedCase> judge_all(const std::vector<Case>& cases, char axis, std::size_t faults,
                                     Run run) {
    const Catalogue catalogue = record::built_in_catalogue().value();
    const Case& healthy = cases.front();
    const Waves waves = run(healthy);
    const Bench bench(catalogue, axis, waves);
    const Case off = off_value(healthy);
    std::vector<DiagnosedCase> out{bench.judge(waves, "healthy", "none", 2),
                                   bench.judge(run(off), "healthy", off.change, 3)};
    std::uint32_t seed = 4;
    for (std::size_t i = 1; i < cases.size() && out.size() < faults + 2; ++i) {
        if (has_row(catalogue, cases[i].id)) {
            out.push_back(bench.judge(run(cases[i]), cases[i].id, cases[i].change, seed++));
        }
    }
    return out;
}

} // namespace

std::vector<DiagnosedCase> diagnose_cases(const sim::BoardParameters& board, char axis,
                                          std::size_t faults) {
    return axis == 'v'
               ? judge_all(vertical_cases(board), axis, faults,
                           [](const VerticalCase& which) { return run_vertical(which).spice; })
               : judge_all(line_cases(board), axis, faults,
                           [](const LineCase& which) { return run_line(which).spice; });
}

std::string text(const DiagnosedCase& one) {
    std::string out =
        fmt::format("{}  {:<21} {:<14} rank {:>2}  {:.2f}  healthy {:.2f} ", one.axis, one.id,
                    diagnose::word(one.outcome), one.rank, one.probability, one.healthy);
    for (const DiagnosedCase::Named& named : one.first) {
        out += fmt::format("  {} {:.2f}", named.id, named.probability);
    }
    return out;
}

} // namespace yokedock::spice
