// SPDX-License-Identifier: MIT
// From figures to suspects. Bayes over the faults of a catalogue, "healthy" and "something else":
// each measured figure with an expected value counts by its likelihood, with its uncertainty, the
// tolerance of what is expected and the doubt of the predicted size. Figures that were not measured
// count for nothing. No figure alone may count more than kMostEvidence.
#pragma once
#include "host/analysis/figure.hpp"
#include "host/diagnose/catalogue.hpp"
#include <optional>

namespace yokedock::diagnose {

constexpr double kMostEvidence = 8; ///< natural log; 1 figure moves odds by at most 3000
constexpr int kSeverities = 8;

struct Expectation {
    double value = 0;
    double tolerance = 0; ///< half band, in the figure's unit; taken as 2 standard deviations
};

/// A part of the board's own list.
struct BoardPart {
    std::string designator;
    std::string section;
    std::string role;
};

struct Evidence {
    analysis::FigureSet figures;
    std::map<std::string, Expectation> expected; ///< by figure; flags need none
    std::vector<BoardPart> parts;                ///< empty: no list
    std::string trip;                            ///< cause that switched the board off; "" none
    std::string trip_channel;                    ///< whose reading it was: "h_yoke_a"; "" none
    bool free_run = false;                       ///< taken without sync: no axis is locked
    std::vector<Evidence> cold;                  ///< the same board taken cold; empty: none, else 1
};

/// A board that was good cold has a fault that comes with heat, or one that came since; a board
/// that was not has one that was there. Neither is certain: a slight fault is not seen, a bad
/// contact comes and goes (kEitherWay). Its own cold evidence is dropped.
void add_cold(Evidence& evidence, Evidence cold);

struct Suspect {
    const FaultRow* fault = nullptr; ///< in the catalogue, which must outlive it
    double probability = 0;
    std::vector<std::string> designators; ///< the board's own; empty when it has no list
    std::vector<std::string> speaks_for;  ///< "vertical retrace: 880 us, expected 400", best first
    std::vector<std::string> speaks_against;
};

enum class Outcome {
    kHealthy, ///< nothing found
    kSuspect, ///< the first suspect is named
    kSection, ///< the section is clear, the part is not
    kUnclear, ///< something is wrong; no suspect stands out, or the pattern is not in the catalogue
    kNoFigures, ///< nothing, or next to nothing, was measured that has an expectation
};

/// "nothing found", "suspect", ...: for tables and JSON.
[[nodiscard]] const char* word(Outcome outcome);

/// Something is wrong with the board, whether it can be named or not.
[[nodiscard]] constexpr bool accuses(Outcome outcome) {
    return outcome != Outcome::kHealthy && outcome != Outcome::kNoFigures;
}

struct NextCheck {
    const Check* check = nullptr;
    double bits = 0; ///< expected drop of entropy over the faults
};

struct Diagnosis {
    Outcome outcome = Outcome::kNoFigures;
    double healthy = 0; ///< probabilities
    double other = 0;
    std::string section; ///< most likely, "" when none is
    double section_probability = 0;
    std::vector<Suspect> suspects;    ///< by probability; all faults of the catalogue
    std::vector<NextCheck> checks;    ///< by bits per minute, best first; those that tell something
    std::vector<std::string> remarks; ///< "the rail is 20 % low: judged first ..."
    std::size_t figures_used = 0;
};

/// The figure's deviation in its scale, for the report and for tests.
struct Deviation {
    const Feature* feature = nullptr;
    double value = 0; ///< in the scale
    double sd = 0;    ///< of a healthy board's, in the scale
    double found = 0; ///< in the figure's unit
    double expected = 0;
    std::string text; ///< of the figure
    std::string unit;
};

/// Only figures that were measured, are finite and have an expectation.
[[nodiscard]] std::vector<Deviation> deviations(const Catalogue& catalogue,
                                                const Evidence& evidence);
/// The evidence is bounded first (bounded.hpp).
[[nodiscard]] Diagnosis diagnose(const Catalogue& catalogue, const Evidence& evidence);

} // namespace yokedock::diagnose
