// SPDX-License-Identifier: MIT
#include "host/analysis/load_verdict.hpp"
#include "host/analysis/load_standing.hpp"
#include "host/analysis/load_words.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

/// Turns shorted leave at the first slope what leaks past them: 1 - k^2 of what is left, at most
/// half for couplings k from 0.7 up.
constexpr double kFastShare = 0.7;
constexpr double kTinyHenry = 5e-6; ///< leads and shunt; no yoke
constexpr double kShortOhm = 0.5;   ///< without anything to compare with; leads and contacts
constexpr double kOpenOhm = 150;    ///< likewise; above any yoke, below a damping resistor
constexpr double kOpenTimes = 3;    ///< resistance over the highest allowed

class Judge {
  public:
    Judge(const LoadStep& step, const LoadExpectation& expected)
        : step_(step), e_(expected), profile_(against_profile(step, expected.coil)),
          other_(against_profile(step, expected.other_coil)) {
        if (expected.learned) {
            learned_ = against_learned(step, *expected.learned);
        }
    }

    LoadJudgement run() {
        if (!step_.ok) {
            return not_sure(step_.problem);
        }
        using Rule = bool (Judge::*)();
        for (const Rule rule :
             {&Judge::sags, &Judge::open, &Judge::reversed, &Judge::jumps, &Judge::two_rises,
              &Judge::other_winding, &Judge::tolerance, &Judge::uncertain}) {
            if ((this->*rule)()) {
                return result_;
            }
        }
        set(LoadVerdict::kOk, fmt::format("{} is as it should be.", values()));
        return result_;
    }

  private:
    void set(LoadVerdict verdict, std::string reason) {
        result_.verdict = verdict;
        result_.reason = std::move(reason);
        for (std::string& next : verdict_steps(verdict, e_)) {
            result_.next_steps.push_back(std::move(next));
        }
    }

    LoadJudgement not_sure(const std::string& reason) {
        set(LoadVerdict::kNotSure, reason);
        return result_;
    }

    [[nodiscard]] std::string values() const {
        return fmt::format("The {} load ({}, {})", e_.output, value_words(step_.resistance),
                           value_words(step_.inductance));
    }

    // Lowest inductance allowed by who knows best; 0 when nobody does.
    [[nodiscard]] double least_henry() const {
        return learned_.inductance != LoadStanding::kNotStated ? learned_.inductance_h.low
                                                               : profile_.inductance_h.low;
    }

    bool open() {
        if (step_.no_current) {
            set(LoadVerdict::kOpen,
                fmt::format("The {} load is open: {}.", e_.output, step_.resistance.reason));
        }
        return step_.no_current;
    }

    bool reversed() {
        if (step_.reversed) {
            set(LoadVerdict::kReversed, fmt::format("The {} current flows backwards: {:.3g} A.",
                                                    e_.output, step_.current.value));
        }
        return step_.reversed;
    }

    // The current of coils only rises, whatever is coupled to them.
    bool sags() {
        if (!step_.second.found || !step_.second.falls) {
            return false;
        }
        not_sure(
            fmt::format("The {} current overshoots or sags ({:.2g} us and {:.2g} us), which no "
                        "coil does.",
                        e_.output, 1e6 * step_.second.fast_s, 1e6 * step_.second.slow_s));
        result_.next_steps.emplace_back(
            "look at the step supply (does it sag?), at the current sense (a current transformer "
            "loses slow current: use the shunt), and at the channel's input lag in the "
            "calibration");
        return true;
    }

    [[nodiscard]] bool no_coil() const {
        const double most = step_.inductance.status == FigureStatus::kMeasured
                                ? step_.inductance.value + 2 * step_.inductance.u
                                : step_.inductance.value;
        return !step_.second.found && most < kTinyHenry;
    }

    bool jumps() {
        const Figure& r = step_.resistance;
        if (!(step_.no_rise || no_coil()) || r.status != FigureStatus::kMeasured) {
            return false;
        }
        const Standings& s = profile_.resistance != LoadStanding::kNotStated ? profile_ : learned_;
        const bool stated = s.resistance != LoadStanding::kNotStated;
        if (r.value - 2 * r.u > (stated ? kOpenTimes * s.resistance_ohm.high : kOpenOhm)) {
            set(LoadVerdict::kOpen,
                fmt::format("The {} coil is open: only a resistor of {} is there, as a damping "
                            "resistor across it would be.",
                            e_.output, value_words(r)));
            return true;
        }
        const double short_ohm = stated ? std::max(kShortOhm, s.resistance_ohm.low / 2) : kShortOhm;
        const bool excluded = least_henry() == 0 || step_.inductance.value < least_henry();
        if (excluded && r.value - 2 * r.u < short_ohm && r.value < short_ohm + 2 * r.u) {
            set(LoadVerdict::kShort,
                fmt::format("The {} load is a short: {} and no rise of the current ({}).",
                            e_.output, value_words(r), value_words(step_.inductance)));
            return true;
        }
        return false;
    }

    bool two_rises() {
        if (!step_.second.found) {
            return false;
        }
        const std::string seen =
            fmt::format("The {} current rises with two time constants ({}{:.2g} us and {:.2g} us, "
                        "{:.0f} % of it "
                        "with the fast one)",
                        e_.output, step_.second.resolved ? "" : "below ", 1e6 * step_.second.fast_s,
                        1e6 * step_.second.slow_s, 100 * step_.second.share);
        const std::string damping =
            step_.parallel_ohm > 0
                ? fmt::format("a resistor of about {:.3g} ohm across the coil would do the same",
                              step_.parallel_ohm)
                : "";
        if (e_.learned && e_.learned->second && same_as_learned()) {
            result_.notes.push_back(seen + ", as the yoke learned did.");
            return false;
        }
        if (!(least_henry() > 0)) {
            not_sure(seen + ": shorted turns, or something coupled to the coil.");
            result_.next_steps = verdict_steps(LoadVerdict::kShortedTurns, e_);
            result_.next_steps.emplace_back("give a profile with the yoke's inductance, or learn a "
                                            "good yoke: then the two can be told apart");
        } else if (bare_is_right()) {
            result_.notes.push_back(seen + ": " + damping + ".");
            return damped_is_new(seen, damping);
        } else if (fast_is_low() || profile_.inductance_low() || learned_.inductance_low()) {
            set(LoadVerdict::kShortedTurns,
                fmt::format(
                    "{}, and its inductance is too low ({}; at the first slope {}): shorted "
                    "turns.",
                    seen, value_words(step_.inductance), value_words(step_.fast_inductance)));
            if (!damping.empty()) {
                result_.notes.push_back(damping + ".");
            }
        } else {
            result_.notes.push_back(seen + ", but its inductance is not low.");
            return false;
        }
        return true;
    }

    [[nodiscard]] bool same_as_learned() const {
        const Figure& then = e_.learned->fast_inductance;
        const Figure& now = step_.fast_inductance;
        const bool fast_same = then.status != now.status ||
                               now.value + 2 * difference_u(then, now) > kFastShare * then.value;
        return !learned_.inductance_low() && fast_same;
    }

    [[nodiscard]] bool bare_is_right() const {
        if (!(step_.parallel_ohm > 0)) {
            return false;
        }
        const Standings bare = bare_against_profile(step_, e_.coil);
        const bool as_measured = profile_.any() && !profile_.off() && !learned_.off();
        return as_measured || (bare.any() && !bare.off() && !learned_.any());
    }

    // A yoke that had no such resistor when it was learned has changed.
    bool damped_is_new(const std::string& seen, const std::string& damping) {
        if (e_.learned && !e_.learned->second) {
            not_sure(seen + ", which the yoke learned did not: " + damping + ".");
            result_.next_steps = verdict_steps(LoadVerdict::kShortedTurns, e_);
            return true;
        }
        set(LoadVerdict::kOk, fmt::format("{} is as it should be, with {}.", values(), damping));
        return true;
    }

    [[nodiscard]] bool fast_is_low() const {
        const Figure& fast = step_.fast_inductance;
        if (fast.status == FigureStatus::kNotMeasured) {
            return false;
        }
        const double u = fast.status == FigureStatus::kMeasured ? total_u(fast) : 0;
        return fast.value + 2 * u < kFastShare * least_henry();
    }

    bool other_winding() {
        const bool fits_other = other_.inductance == LoadStanding::kInside &&
                                other_.resistance != LoadStanding::kLow &&
                                other_.resistance != LoadStanding::kHigh;
        if (!fits_other || !(profile_.off() || learned_.off())) {
            return false;
        }
        set(LoadVerdict::kWrongWinding,
            fmt::format("The load at the {} output ({}, {}) is the {} winding.", e_.output,
                        value_words(step_.resistance), value_words(step_.inductance), e_.other));
        return true;
    }

    // The ratio of what was measured to the middle of the band, when it is off; 0 not stated.
    static double ratio(LoadStanding standing, const Figure& figure, const Band& band) {
        const double middle = (band.low + band.high) / 2;
        return standing == LoadStanding::kLow || standing == LoadStanding::kHigh
                   ? figure.value / middle
                   : 0;
    }

    bool tolerance() {
        const bool by_profile = profile_.off();
        if (!by_profile && !learned_.off()) {
            return false;
        }
        const Standings& s = by_profile ? profile_ : learned_;
        std::string allowed;
        if (s.resistance != LoadStanding::kNotStated) {
            allowed +=
                band_words(s.resistance_ohm.low, s.resistance_ohm.high, "ohm") + " cold to hot";
        }
        if (s.inductance != LoadStanding::kNotStated) {
            allowed += (allowed.empty() ? "" : ", ") +
                       band_words(s.inductance_h.low, s.inductance_h.high, "H");
        }
        set(LoadVerdict::kOutOfTolerance,
            fmt::format("{} is not {} ({}).", values(),
                        by_profile ? "what the profile asks for" : "the real yoke measured earlier",
                        allowed));
        result_.next_steps =
            tolerance_steps(ratio(s.resistance, step_.resistance, s.resistance_ohm),
                            ratio(s.inductance, step_.inductance, s.inductance_h), e_.output);
        return true;
    }

    bool uncertain() {
        if (!profile_.any() && !learned_.any()) {
            not_sure(values() + " was measured, but there is nothing to compare it with.");
            result_.next_steps.emplace_back(
                "give a profile with the yoke's values, or learn a yoke "
                "known to be good with `check --learn`");
            return true;
        }
        if (!step_.residuals.good) {
            not_sure(fmt::format("{} does not rise as a coil's current does: {:.2g} mA beside the "
                                 "curve.",
                                 values(), 1e3 * step_.residuals.smooth_a));
            result_.next_steps.emplace_back(
                "look for a loose plug, ringing (a capacitor across the "
                "coil) and a drive that sags; then repeat");
            return true;
        }
        for (const Standings* s : {&profile_, &learned_}) {
            if (s->inductance == LoadStanding::kNearBy || s->resistance == LoadStanding::kNearBy) {
                not_sure(values() +
                         " is just outside of what is allowed, by less than its uncertainty.");
                result_.next_steps.emplace_back(
                    "calibrate the bench, let the coil cool, and repeat");
                return true;
            }
            if (s->inductance == LoadStanding::kCoarse ||
                s->inductance == LoadStanding::kNotMeasured) {
                not_sure(values() + " is too uncertain in L to be judged.");
                result_.next_steps.emplace_back("measure with the precise look, calibrated, at the "
                                                "faster (horizontal) channel");
                return true;
            }
            if (s->resistance == LoadStanding::kCoarse ||
                s->resistance == LoadStanding::kNotMeasured) {
                result_.notes.push_back(fmt::format(
                    "R is too uncertain to be judged ({}): an ohmmeter with four wires tells it.",
                    value_words(step_.resistance)));
            }
        }
        return false;
    }

    const LoadStep& step_;
    const LoadExpectation& e_;
    Standings profile_;
    Standings other_;
    Standings learned_;
    LoadJudgement result_;
};

} // namespace

LoadJudgement judge_load(const LoadStep& step, const LoadExpectation& expected) {
    return Judge(step, expected).run();
}

const char* word(LoadVerdict verdict) {
    switch (verdict) {
    case LoadVerdict::kOk:
        return "ok";
    case LoadVerdict::kOpen:
        return "open";
    case LoadVerdict::kShort:
        return "short";
    case LoadVerdict::kShortedTurns:
        return "shorted turns";
    case LoadVerdict::kWrongWinding:
        return "wrong winding";
    case LoadVerdict::kReversed:
        return "reversed";
    case LoadVerdict::kOutOfTolerance:
        return "out of tolerance";
    case LoadVerdict::kNotSure:
        return "not sure";
    }
    return "";
}

} // namespace yokedock::analysis
