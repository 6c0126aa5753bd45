// SPDX-License-Identifier: MIT
#include "tests/bench/matrix/page.hpp"
#include "host/diagnose/explain.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <set>

namespace yokedock::matrix {
namespace {

diagnose::Evidence evidence_of(const diagnose::Catalogue& catalogue, const Stored& stored,
                               const Case& measured) {
    diagnose::Evidence e;
    for (const diagnose::Feature& feature : catalogue.features) {
        if (const analysis::Figure* f = analysis::find_figure(measured.figures, feature.name)) {
            e.figures.push_back(*f);
        }
    }
    if (const auto at = stored.expected.find(measured.design); at != stored.expected.end()) {
        for (const auto& [name, x] : at->second) {
            e.expected[name] = {x.value, x.half_width()};
        }
    }
    return e;
}

struct Tally {
    int runs = 0, section = 0, first = 0, third = 0, unclear = 0, missed = 0;
    void add(const Judged& j) {
        const diagnose::Diagnosis& d = j.diagnosis;
        ++runs;
        const bool none = d.outcome == diagnose::Outcome::kHealthy;
        missed += none ? 1 : 0;
        unclear += d.outcome == diagnose::Outcome::kUnclear ? 1 : 0;
        section += !none && d.section == j.section ? 1 : 0;
        first += !none && j.place == 0 ? 1 : 0;
        third += !none && j.place < 3 ? 1 : 0;
    }
    [[nodiscard]] std::string cells() const {
        const auto pct = [&](int n) {
            return runs == 0 ? std::string("-") : fmt::format("{:.0f}", 100.0 * n / runs);
        };
        return fmt::format("{} | {} | {} | {} | {} | {}", runs, pct(section), pct(first),
                           pct(third), pct(unclear), pct(missed));
    }
};

constexpr const char* kHead = "runs | section first, % | fault first, % | in first 3, % | cannot "
                              "tell, % | nothing found, %";

constexpr const char* kPageHead =
    R"(<!-- Made by tests/bench/matrix/run. -->
# Matrix of faults against the diagnosis

Every fault of the simulated board ([board_faults.md](board_faults.md)) at three severities: 0.3, 0.65 and 1 (as bad as it
gets). Each board is built from parts of their tolerance (resistors 5 %, electrolytics 20 %, as two standard deviations;
others as `parameters.hpp` says), set up as a factory does, then gets its fault, runs until it is warm, and is measured with
the noise, gain and clock errors of a bench of its own: with sync, without sync (free run), and for how far its lock
can be pulled. The measurement is that of the model bench (same captures, sampler, stamps and analysis as the
real path, without chip and wire: tests/system/model_bench_test.cpp); lock ranges are found in coarse steps on the board
model, not by the sweep's own steps. There is no power-up, so no trip takes part, and no load check. Expected figures and their
tolerance are learned from 12 good boards of the design (seeds of their own); the heat sink's is stated, +-20 %.

Only the simulator has shown these figures. They say how the diagnosis does on boards that fail as the model's do; with
real boards it has not been tried. The designs below are not those on which the catalogue's rows were checked
and the thresholds chosen (24 V, 525 lines, two vertical yokes; 16 V, 625 lines; other seeds).

In "section first" and the like a board for which nothing was found counts as wrong. "Cannot tell": something is wrong,
and neither a fault nor a section has half of the probability. "Something off": the boards of all severities with a figure
beyond three standard deviations of a good board's, or a sign (pulses, current, lock) that is missing; with the others
no reading shows by itself that there is a fault. "No sweep": all boards again without what only a lock sweep tells.

)";
constexpr const char* kPageFaults = "\n## By fault\n\n";
constexpr const char* kPageApart = R"(
## What the readings do not tell apart

Faults that came first in fewer than half of their runs, what they were taken for in a fifth of them or more, and the
quickest check of the catalogue that shows the one and not the other.

)";
constexpr const char* kPageSections = "\n## Sections\n\n";
constexpr const char* kPageStated = R"(
## Stated against actual confidence

All boards, good ones too. Where something was found:

)";

/// The case as it is known when nobody has made a lock sweep.
Case without_sweep(const Case& measured) {
    Case out = measured;
    std::erase_if(out.figures, [](const analysis::Figure& f) {
        return f.name.find("_hold_") != std::string::npos ||
               f.name.find("_pull_in_") != std::string::npos;
    });
    return out;
}

std::string by_severity(const diagnose::Catalogue& catalogue, const Stored& stored,
                        const std::vector<Judged>& judged) {
    std::map<double, Tally> tallies;
    Tally all;
    Tally visible;
    Tally no_sweep;
    for (const Judged& j : judged) {
        if (!j.measured->fault.empty()) {
            tallies[j.measured->severity].add(j);
            all.add(j);
            if (j.off > 0) {
                visible.add(j);
            }
            const Case cut = without_sweep(*j.measured);
            no_sweep.add(judge(catalogue, stored, cut));
        }
    }
    std::string out = fmt::format("| severity | {} |\n|---|---|---|---|---|---|---|\n", kHead);
    for (const auto& [severity, t] : tallies) {
        out += fmt::format("| {:.2f} | {} |\n", severity, t.cells());
    }
    return out + fmt::format("| **all** | {} |\n| something off | {} |\n| no sweep | {} |\n",
                             all.cells(), visible.cells(), no_sweep.cells());
}

std::string by_fault(const diagnose::Catalogue& catalogue, const std::vector<Judged>& judged) {
    std::string out = fmt::format("| fault | section | {} | in first 3 by severity | taken for |\n"
                                  "|---|---|---|---|---|---|---|---|---|---|\n",
                                  kHead);
    for (const diagnose::FaultRow& row : catalogue.faults) {
        Tally sum;
        std::map<double, Tally> severities;
        std::map<std::string, int> others;
        for (const Judged& j : judged) {
            if (j.measured->fault != row.id) {
                continue;
            }
            sum.add(j);
            severities[j.measured->severity].add(j);
            const bool none = j.diagnosis.outcome == diagnose::Outcome::kHealthy;
            const std::string first = none ? "(good board)" : j.diagnosis.suspects[0].fault->id;
            others[first] += first == row.id ? 0 : 1;
        }
        std::vector<std::pair<int, std::string>> most;
        for (const auto& [id, n] : others) {
            if (n > 0) {
                most.emplace_back(-n, id);
            }
        }
        std::sort(most.begin(), most.end());
        std::string taken;
        for (std::size_t k = 0; k < most.size() && k < 3; ++k) {
            taken += fmt::format("{}{} {}", k > 0 ? ", " : "", most[k].second, -most[k].first);
        }
        std::string places;
        for (const auto& [severity, t] : severities) {
            places += fmt::format("{}{}/{}", places.empty() ? "" : " ", t.third, t.runs);
        }
        out += fmt::format("| `{}` | {} | {} | {} | {} |\n", row.id, row.section, sum.cells(),
                           places, taken);
    }
    return out;
}

std::string confusion(const std::vector<Judged>& judged) {
    std::set<std::string> names;
    std::map<std::string, std::map<std::string, int>> table;
    for (const Judged& j : judged) {
        const std::string from = j.section.empty() ? "(good board)" : j.section;
        const std::string to = j.diagnosis.outcome == diagnose::Outcome::kHealthy
                                   ? "(good board)"
                                   : j.diagnosis.section;
        names.insert(from);
        names.insert(to);
        ++table[from][to];
    }
    std::string out = "| true section | ";
    std::string rule = "|---|";
    for (const std::string& n : names) {
        out += n + " | ";
        rule += "---|";
    }
    out += "\n" + rule + "\n";
    for (const std::string& from : names) {
        out += "| " + from + " | ";
        for (const std::string& to : names) {
            out += table[from][to] == 0 ? "| " : fmt::format("{} | ", table[from][to]);
        }
        out += "\n";
    }
    return out;
}

/// The quickest check that shows one of two faults and not the other; "" when the catalogue has
/// none.
std::string telling_check(const diagnose::Catalogue& catalogue, const std::string& one,
                          const std::string& other) {
    const diagnose::Check* best = nullptr;
    for (const diagnose::Check& c : catalogue.checks) {
        const auto finds = [&](const std::string& id) {
            return std::find(c.finds.begin(), c.finds.end(), id) != c.finds.end();
        };
        if (finds(one) != finds(other) && (best == nullptr || c.minutes < best->minutes)) {
            best = &c;
        }
    }
    return best == nullptr ? "" : fmt::format("{} ({:g} min)", best->text, best->minutes);
}

/// Faults that came first in fewer than half of their runs, what they were taken for, and what
/// tells them apart.
std::string not_told_apart(const diagnose::Catalogue& catalogue,
                           const std::vector<Judged>& judged) {
    std::string out = "| fault | taken for | in, % | what tells |\n|---|---|---|---|\n";
    for (const diagnose::FaultRow& row : catalogue.faults) {
        int runs = 0;
        std::map<std::string, int> firsts;
        for (const Judged& j : judged) {
            if (j.measured->fault == row.id) {
                ++runs;
                const bool none = j.diagnosis.outcome == diagnose::Outcome::kHealthy;
                ++firsts[none ? "(good board)" : j.diagnosis.suspects[0].fault->id];
            }
        }
        if (runs == 0 || 2 * firsts[row.id] >= runs) {
            continue;
        }
        for (const auto& [id, n] : firsts) {
            if (id == row.id || 5 * n < runs) {
                continue;
            }
            const std::string check = telling_check(catalogue, row.id, id);
            out += fmt::format("| `{}` | {} | {:.0f} | {} |\n", row.id, id, 100.0 * n / runs,
                               check.empty() ? "nothing in the catalogue" : check);
        }
    }
    return out;
}

/// Stated probability against how often it was right.
template <class Stated, class Right>
std::string calibration(const char* what, const std::vector<Judged>& judged, Stated stated,
                        Right right) {
    constexpr double kEdges[] = {0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001};
    std::string out =
        fmt::format("| {} | boards | mean stated, % | right, % |\n|---|---|---|---|\n", what);
    for (std::size_t k = 0; k + 1 < std::size(kEdges); ++k) {
        int n = 0, good = 0;
        double sum = 0;
        for (const Judged& j : judged) {
            const double p = stated(j);
            if (p >= kEdges[k] && p < kEdges[k + 1]) {
                ++n;
                sum += p;
                good += right(j) ? 1 : 0;
            }
        }
        if (n > 0) {
            out +=
                fmt::format("| {:.0f} to {:.0f} % | {} | {:.1f} | {:.1f} |\n", 100 * kEdges[k],
                            100 * std::min(kEdges[k + 1], 1.0), n, 100 * sum / n, 100.0 * good / n);
        }
    }
    return out;
}

} // namespace

Judged judge(const diagnose::Catalogue& catalogue, const Stored& stored, const Case& measured) {
    Judged j;
    j.measured = &measured;
    const diagnose::Evidence evidence = evidence_of(catalogue, stored, measured);
    j.diagnosis = diagnose::diagnose(catalogue, evidence);
    const auto found = diagnose::deviations(catalogue, evidence);
    j.off = std::count_if(found.begin(), found.end(), diagnose::is_off);
    for (const diagnose::FaultRow& row : catalogue.faults) {
        j.section = row.id == measured.fault ? row.section : j.section;
    }
    for (std::size_t k = 0; k < j.diagnosis.suspects.size(); ++k) {
        j.place =
            j.diagnosis.suspects[k].fault->id == measured.fault ? static_cast<int>(k) : j.place;
    }
    return j;
}

std::string deviations_text(const diagnose::Catalogue& catalogue, const Stored& stored,
                            const Case& measured) {
    std::string out;
    for (const auto& d :
         diagnose::deviations(catalogue, evidence_of(catalogue, stored, measured))) {
        out += fmt::format("  {:24} {:10.4g} expected {:10.4g}  deviation {:8.4f} sd {:.4f}{}\n",
                           d.feature->name, d.found, d.expected, d.value, d.sd,
                           d.sd > 0 && std::fabs(d.value) > 3 * d.sd ? "  <--" : "");
    }
    return out;
}

std::string page(const diagnose::Catalogue& catalogue, const Stored& stored,
                 const std::vector<Judged>& judged) {
    int good = 0, alarms = 0;
    std::set<std::string> designs;
    for (const Judged& j : judged) {
        designs.insert(j.measured->design);
        if (j.measured->fault.empty()) {
            ++good;
            alarms += j.diagnosis.outcome == diagnose::Outcome::kHealthy ? 0 : 1;
        }
    }
    std::string out = kPageHead;
    for (const std::string& d : designs) {
        out += "* " + d + "\n";
    }
    out += fmt::format("\nGood boards suspected: {} of {} ({:.1f} %).\n\n", alarms, good,
                       good > 0 ? 100.0 * alarms / good : 0.0);
    out += by_severity(catalogue, stored, judged) + kPageFaults + by_fault(catalogue, judged) +
           kPageApart + not_told_apart(catalogue, judged) + kPageSections + confusion(judged) +
           kPageStated;
    const auto found = [](const Judged& j) {
        return j.diagnosis.outcome != diagnose::Outcome::kHealthy;
    };
    out += calibration(
               "stated for the first suspect", judged,
               [&](const Judged& j) { return found(j) ? j.diagnosis.suspects[0].probability : -1; },
               [](const Judged& j) { return j.place == 0; }) +
           "\n";
    out += calibration(
               "stated for the section", judged,
               [&](const Judged& j) { return found(j) ? j.diagnosis.section_probability : -1; },
               [](const Judged& j) { return j.diagnosis.section == j.section; }) +
           "\n";
    return out + calibration(
                     "stated for a good board", judged,
                     [](const Judged& j) { return j.diagnosis.healthy; },
                     [](const Judged& j) { return j.measured->fault.empty(); });
}

} // namespace yokedock::matrix
