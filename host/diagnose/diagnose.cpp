// SPDX-License-Identifier: MIT
#include "host/diagnose/diagnose.hpp"
#include "host/diagnose/bounded.hpp"
#include "host/diagnose/doubt.hpp"
#include "host/diagnose/explain.hpp"
#include "host/diagnose/likelihood.hpp"
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::diagnose {
namespace {

// Chosen on invented figure sets (tests/unit/diagnose), no source.
constexpr double kTemper = 0.8;        ///< figures are not quite independent of each other
constexpr double kHealthyNeeded = 0.5; ///< more, and nothing is said to be wrong
constexpr double kClear = 0.5;         ///< the first suspect is named from here
constexpr double kSectionClear = 0.6;  ///< or its section
constexpr double kEitherWay = 0.1;
constexpr double kTripHealthy = 0.002; ///< limits set too tight; of the other trips likewise
constexpr double kTripListed = 0.5, kTripOther = 0.01, kTripUnknown = 0.05;
constexpr double kSure = 0.8;            ///< the suspect's own part is then checked first
constexpr double kMayBeKeptOff = 0.1;    ///< of a fault after which there must be no power
constexpr std::size_t kLeastFigures = 3; ///< fewer make no board good

/// Causes that say something of the board; a stop button or a lost link does not.
constexpr const char* kOfBoard[] = {"over_current",
                                    "supply_high",
                                    "supply_low",
                                    "supply_current",
                                    "output_high",
                                    "output_low",
                                    "retrace_peak",
                                    "heatsink",
                                    "load_current",
                                    "load_lost",
                                    "field_retrace_missing",
                                    "line_retrace_missing",
                                    "rail_not_up"};

/// ln likelihood relative to a good board, capped figure by figure.
class Odds {
  public:
    explicit Odds(const std::vector<Deviation>& found) : found_(found) {
        for (const Deviation& d : found_) {
            healthy_.push_back(log_healthy(d));
        }
    }
    [[nodiscard]] double capped(std::size_t i, double log_p) const {
        return std::clamp(kTemper * found_[i].feature->weight * (log_p - healthy_[i]),
                          -kMostEvidence, kMostEvidence);
    }
    [[nodiscard]] double other() const {
        double sum = 0;
        for (std::size_t i = 0; i < found_.size(); ++i) {
            sum += capped(i, log_other(found_[i]));
        }
        return sum;
    }
    /// Averaged over courses, all equally likely; the best of them goes to `best`.
    [[nodiscard]] double fault(const FaultRow& row, Course& best) const {
        std::vector<double> sums;
        double top = -std::numeric_limits<double>::infinity();
        for (int k = 0; k < 2 * kSeverities; ++k) {
            const Course course{(k / 2 + 0.5) / kSeverities, k % 2 == 1};
            sums.push_back(0);
            for (std::size_t i = 0; i < found_.size(); ++i) {
                sums.back() += capped(i, log_fault(found_[i], effect(row, i),
                                                   nearness(row, *found_[i].feature), course));
            }
            if (sums.back() > top) {
                top = sums.back();
                best = course;
            }
        }
        double mean = 0;
        for (const double s : sums) {
            mean += std::exp(s - top) / static_cast<double>(sums.size());
        }
        return top + std::log(mean);
    }
    [[nodiscard]] const Effect* effect(const FaultRow& row, std::size_t i) const {
        const auto at = row.figures.find(found_[i].feature->name);
        return at == row.figures.end() ? nullptr : &at->second;
    }

  private:
    const std::vector<Deviation>& found_;
    std::vector<double> healthy_;
};

bool contains(const std::vector<std::string>& list, const std::string& word) {
    return std::find(list.begin(), list.end(), word) != list.end();
}

/// A trip that says something of the board, and where.
struct TellingTrip {
    std::string cause;
    Feature channel; ///< by name only
    [[nodiscard]] bool none() const { return cause.empty(); }
    /// The row lists it, and its channel is not one of the other axis.
    [[nodiscard]] bool listed(const FaultRow& row) const {
        return contains(row.trips, cause) && nearness(row, channel) != Nearness::kOtherAxis;
    }
    [[nodiscard]] double odds(const FaultRow& row) const {
        return none() ? 0 : std::log((listed(row) ? kTripListed : kTripOther) / kTripHealthy);
    }
    [[nodiscard]] std::string text() const {
        std::string words = cause;
        std::replace(words.begin(), words.end(), '_', ' ');
        return "the bench switched the board off: " + words +
               (channel.name.empty() ? "" : " (" + channel.name + ")");
    }
};

TellingTrip telling_trip(const Evidence& evidence) {
    const bool of_board =
        std::find(std::begin(kOfBoard), std::end(kOfBoard), evidence.trip) != std::end(kOfBoard);
    TellingTrip trip;
    if (of_board) {
        trip.cause = evidence.trip;
        trip.channel.name = evidence.trip_channel;
    }
    return trip;
}

std::vector<std::string> designators_of(const FaultRow& row, const std::vector<BoardPart>& parts) {
    std::vector<std::string> out;
    for (const std::string& role : row.roles) {
        for (const BoardPart& part : parts) {
            if (part.section == row.section && part.role == role) {
                out.push_back(part.designator);
            }
        }
    }
    return out;
}

/// What speaks for a fault against a good board, and what does not fit its row.
void explain(const FaultRow& row, const Odds& odds, const std::vector<Deviation>& found,
             const Course& course, const TellingTrip& trip, Suspect& suspect) {
    std::vector<std::pair<double, std::string>> pro;
    std::vector<std::pair<double, std::string>> contra;
    if (!trip.none() && trip.listed(row)) {
        pro.emplace_back(-trip.odds(row), trip.text());
    }
    for (std::size_t i = 0; i < found.size(); ++i) {
        const Effect* effect = odds.effect(row, i);
        const double weight =
            odds.capped(i, log_fault(found[i], effect, nearness(row, *found[i].feature), course));
        if (effect != nullptr && weight > 0.7) {
            pro.emplace_back(-weight, deviation_text(found[i]));
        } else if (effect != nullptr && weight < -0.7) {
            contra.emplace_back(weight, expected_text(found[i], *effect, course.severity));
        } else if (effect == nullptr && is_off(found[i])) {
            contra.emplace_back(-weight, deviation_text(found[i]) + ", which it does not explain");
        }
    }
    std::sort(pro.begin(), pro.end());
    std::sort(contra.begin(), contra.end());
    for (const auto& [weight, text] : pro) {
        suspect.speaks_for.push_back(text);
    }
    for (const auto& [weight, text] : contra) {
        suspect.speaks_against.push_back(text);
    }
}

double entropy(const std::vector<double>& p) {
    double sum = 0;
    double bits = 0;
    for (const double x : p) {
        sum += x;
    }
    for (const double x : p) {
        bits -= x > 0 && sum > 0 ? x / sum * std::log2(x / sum) : 0;
    }
    return bits;
}

/// A check shows a fault it finds with 90 %, and cries wolf with 5 % (chosen, no source).
double expected_bits(const Check& check, const std::vector<Suspect>& suspects) {
    std::vector<double> prior;
    std::vector<double> bad;
    std::vector<double> good;
    double p_bad = 0;
    double total = 0;
    for (const Suspect& s : suspects) {
        const double shows = contains(check.finds, s.fault->id) ? 0.9 : 0.05;
        prior.push_back(s.probability);
        bad.push_back(s.probability * shows);
        good.push_back(s.probability * (1 - shows));
        p_bad += bad.back();
        total += s.probability;
    }
    if (!(total > 0)) {
        return 0;
    }
    const double share = p_bad / total;
    return entropy(prior) - share * entropy(bad) - (1 - share) * entropy(good);
}

bool must_stay_off(const std::vector<Suspect>& suspects) {
    double p = 0;
    for (const Suspect& s : suspects) {
        p += s.fault->keep_off ? s.probability : 0;
    }
    return p >= kMayBeKeptOff;
}

/// By bits per minute; but a suspect all but certain wants its part measured first, by the quickest
/// check that shows it. After a trip what needs no power comes first, and where a fault is likely
/// that must not be powered, what needs power is left out.
std::vector<NextCheck> choose_checks(const Catalogue& catalogue,
                                     const std::vector<Suspect>& suspects, bool tripped) {
    const bool off = must_stay_off(suspects);
    const Suspect& top = suspects.front();
    const auto confirms = [&](const Check& check) {
        return top.probability >= kSure && contains(check.finds, top.fault->id);
    };
    std::vector<NextCheck> out;
    for (const Check& check : catalogue.checks) {
        const double bits = expected_bits(check, suspects);
        if ((bits > 0.01 || confirms(check)) && !(off && check.powered)) {
            out.push_back({&check, bits});
        }
    }
    std::stable_sort(out.begin(), out.end(), [&](const NextCheck& a, const NextCheck& b) {
        if (tripped && a.check->powered != b.check->powered) {
            return b.check->powered;
        }
        if (confirms(*a.check) != confirms(*b.check)) {
            return confirms(*a.check);
        }
        return confirms(*a.check) ? a.check->minutes < b.check->minutes
                                  : a.bits / a.check->minutes > b.bits / b.check->minutes;
    });
    return out;
}

/// ln odds of a row from what the board showed cold.
double cold_odds(double healthy_cold, bool good_when_cold) {
    return std::log(std::max(good_when_cold ? healthy_cold : 1 - healthy_cold, kEitherWay));
}

std::optional<double> healthy_when_cold(const Catalogue& catalogue, const Evidence& evidence) {
    if (evidence.cold.empty()) {
        return std::nullopt;
    }
    Evidence taken_cold = evidence.cold.front();
    taken_cold.expected.erase("heatsink_c"); // it is expected to be warm
    const Diagnosis cold = diagnose(catalogue, taken_cold);
    return cold.figures_used > 0 ? std::optional(cold.healthy) : std::nullopt;
}

void choose_section(const std::vector<Suspect>& suspects, Diagnosis& d) {
    std::map<std::string, double> sections;
    for (const Suspect& s : suspects) {
        sections[s.fault->section] += s.probability;
    }
    for (const auto& [section, p] : sections) {
        if (p > d.section_probability) {
            d.section = section;
            d.section_probability = p;
        }
    }
}

Outcome outcome_of(const Diagnosis& d) {
    if (d.figures_used == 0) {
        return Outcome::kNoFigures;
    }
    if (d.healthy >= kHealthyNeeded) {
        return d.figures_used < kLeastFigures ? Outcome::kNoFigures : Outcome::kHealthy;
    }
    if (!d.suspects.empty() && d.suspects.front().probability >= kClear) {
        return Outcome::kSuspect;
    }
    return d.section_probability >= kSectionClear ? Outcome::kSection : Outcome::kUnclear;
}

} // namespace

const char* word(Outcome outcome) {
    switch (outcome) {
    case Outcome::kHealthy:
        return "nothing found";
    case Outcome::kSuspect:
        return "suspect";
    case Outcome::kSection:
        return "section";
    case Outcome::kUnclear:
        return "cannot tell";
    case Outcome::kNoFigures:
        break;
    }
    return "no figures";
}

Diagnosis diagnose(const Catalogue& catalogue, const Evidence& as_given) {
    Evidence evidence = as_given;
    bound(catalogue, evidence);
    Diagnosis out;
    const std::vector<Deviation> found = deviations(catalogue, evidence);
    const Odds odds(found);
    const TellingTrip trip = telling_trip(evidence);
    out.figures_used = found.size() + (trip.none() ? 0 : 1);
    double weights = 0;
    for (const FaultRow& row : catalogue.faults) {
        weights += row.prior;
    }
    const double fault_share = 1 - catalogue.prior_healthy - catalogue.prior_other;
    const double trip_other = trip.none() ? 0 : std::log(kTripUnknown / kTripHealthy);
    std::vector<double> logs{std::log(catalogue.prior_healthy),
                             std::log(catalogue.prior_other) + odds.other() + trip_other};
    std::vector<Course> courses(catalogue.faults.size());
    for (std::size_t k = 0; k < catalogue.faults.size(); ++k) {
        const FaultRow& row = catalogue.faults[k];
        logs.push_back(std::log(fault_share * row.prior / weights) + odds.fault(row, courses[k]) +
                       trip.odds(row));
    }
    if (const auto healthy = healthy_when_cold(catalogue, evidence)) {
        logs[0] += cold_odds(*healthy, true);
        logs[1] += std::log(0.5);
        for (std::size_t k = 0; k < catalogue.faults.size(); ++k) {
            logs[k + 2] += cold_odds(*healthy, catalogue.faults[k].comes_with_heat);
        }
        out.remarks.push_back(*healthy > 0.5
                                  ? "cold the board looked good: what is wrong came with heat, or "
                                    "since then"
                                  : "cold the board did not look good either: what is wrong does "
                                    "not need heat");
    }
    const double top = *std::max_element(logs.begin(), logs.end());
    double sum = 0;
    for (double& x : logs) {
        x = std::exp(x - top);
        sum += x;
    }
    out.healthy = logs[0] / sum;
    out.other = logs[1] / sum;
    for (std::size_t k = 0; k < catalogue.faults.size(); ++k) {
        const FaultRow& row = catalogue.faults[k];
        Suspect suspect{&row, logs[k + 2] / sum, designators_of(row, evidence.parts), {}, {}};
        explain(row, odds, found, courses[k], trip, suspect);
        out.suspects.push_back(std::move(suspect));
    }
    std::stable_sort(
        out.suspects.begin(), out.suspects.end(),
        [](const Suspect& a, const Suspect& b) { return a.probability > b.probability; });
    choose_section(out.suspects, out);
    out.outcome = outcome_of(out);
    if (!accuses(out.outcome) && !trip.none()) {
        out.outcome = Outcome::kUnclear; // whatever else was measured
        out.remarks.push_back(trip.text() + ": it is not good, or a limit of the profile is too "
                                            "tight");
    }
    if (accuses(out.outcome) && !out.suspects.empty()) {
        out.checks = choose_checks(catalogue, out.suspects, !trip.none());
    }
    if (out.outcome == Outcome::kHealthy) {
        for (std::string& remark : doubts(found)) {
            out.outcome = Outcome::kUnclear;
            out.remarks.push_back(std::move(remark));
        }
    }
    for (std::string& remark : dependence_remarks(found)) {
        out.remarks.push_back(std::move(remark));
    }
    if (auto unseen = unseen_remark(catalogue, found);
        unseen && out.outcome != Outcome::kNoFigures) {
        out.remarks.push_back(std::move(*unseen));
    }
    return out;
}

} // namespace yokedock::diagnose
