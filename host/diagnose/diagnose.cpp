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
constexpr double kTripHealthy = 0.02, kTripListed = 0.5, kTripOther = 0.05;

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

double trip_odds(const std::string& trip, const FaultRow& row) {
    return trip.empty()
               ? 0
               : std::log((contains(row.trips, trip) ? kTripListed : kTripOther) / kTripHealthy);
}

/// The trip, if any fault of the catalogue brings it about; a stop button says nothing of the
/// board.
std::string telling_trip(const Catalogue& catalogue, const std::string& trip) {
    const bool known = std::any_of(catalogue.faults.begin(), catalogue.faults.end(),
                                   [&](const FaultRow& row) { return contains(row.trips, trip); });
    return known ? trip : std::string();
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
             const Course& course, Suspect& suspect) {
    std::vector<std::pair<double, std::string>> pro;
    std::vector<std::pair<double, std::string>> contra;
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

/// A check that only confirms counts, too: a suspect all but certain still wants its part measured.
std::vector<NextCheck> choose_checks(const Catalogue& catalogue,
                                     const std::vector<Suspect>& suspects) {
    std::vector<NextCheck> out;
    for (const Check& check : catalogue.checks) {
        const double bits = expected_bits(check, suspects);
        if (bits > 0.01) {
            out.push_back({&check, bits});
        }
    }
    std::stable_sort(out.begin(), out.end(), [](const NextCheck& a, const NextCheck& b) {
        return a.bits / a.check->minutes > b.bits / b.check->minutes;
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
        return Outcome::kHealthy;
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
    const std::string trip = telling_trip(catalogue, evidence.trip);
    out.figures_used = found.size() + (trip.empty() ? 0 : 1);
    double weights = 0;
    for (const FaultRow& row : catalogue.faults) {
        weights += row.prior;
    }
    const double fault_share = 1 - catalogue.prior_healthy - catalogue.prior_other;
    const double trip_other = trip.empty() ? 0 : std::log(0.2 / kTripHealthy);
    std::vector<double> logs{std::log(catalogue.prior_healthy),
                             std::log(catalogue.prior_other) + odds.other() + trip_other};
    std::vector<Course> courses(catalogue.faults.size());
    for (std::size_t k = 0; k < catalogue.faults.size(); ++k) {
        const FaultRow& row = catalogue.faults[k];
        logs.push_back(std::log(fault_share * row.prior / weights) + odds.fault(row, courses[k]) +
                       trip_odds(trip, row));
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
        explain(row, odds, found, courses[k], suspect);
        out.suspects.push_back(std::move(suspect));
    }
    std::stable_sort(
        out.suspects.begin(), out.suspects.end(),
        [](const Suspect& a, const Suspect& b) { return a.probability > b.probability; });
    choose_section(out.suspects, out);
    out.outcome = outcome_of(out);
    if (out.outcome != Outcome::kHealthy && out.outcome != Outcome::kNoFigures) {
        out.checks = choose_checks(catalogue, out.suspects);
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
