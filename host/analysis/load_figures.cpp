// SPDX-License-Identifier: MIT
#include "host/analysis/load_figures.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kNoCurrentTimes = 4;  ///< its uncertainty
constexpr double kNoCurrentOhm = 2000; ///< more than any yoke and its damping resistor
constexpr double kMostCurrentU = 0.3;  ///< relative; resistance would be anything beyond
constexpr double kMostLnTauU = 0.5;    ///< and a time constant
/// A damping resistor is more than so many times the coil's resistance, and than so many ohm
/// (common practice, no source). A share x of turns shorted looks like R (1 - x)^2 / x: 8 R at 10
/// %.
constexpr double kDampingTimes = 20;
constexpr double kDampingOhm = 50;

/// What R and L are made of, as functions of the fit's parameters.
struct Formulas {
    std::size_t rises;
    bool from_zero;
    StepDrive drive;

    using P = std::vector<double>;
    [[nodiscard]] double rise(const P& p) const {
        double sum = 0;
        for (std::size_t k = 0; k < rises; ++k) {
            sum += p[kFirstRise + 2 * k];
        }
        return sum;
    }
    [[nodiscard]] double current(const P& p) const {
        return from_zero ? rise(p) : p[kBase] + rise(p);
    }
    [[nodiscard]] double tau(const P& p) const {
        double sum = 0;
        for (std::size_t k = 0; k < rises; ++k) {
            sum += p[kFirstRise + 2 * k] * std::exp(p[kFirstRise + 2 * k + 1]);
        }
        return sum / rise(p);
    }
    [[nodiscard]] double slope(const P& p) const {
        double sum = 0;
        for (std::size_t k = 0; k < rises; ++k) {
            sum += p[kFirstRise + 2 * k] / std::exp(p[kFirstRise + 2 * k + 1]);
        }
        return sum;
    }
    [[nodiscard]] double ohm(const P& p) const {
        return drive.volts / current(p) - drive.source_ohm;
    }
    /// Flux: the integral of drive less what drops at source and coil resistance, over the current.
    [[nodiscard]] double henry(const P& p) const { return drive.volts * tau(p) / current(p); }
    [[nodiscard]] double fast_henry(const P& p) const {
        return drive.volts * rise(p) / current(p) / slope(p);
    }
};

Budget with_scale(Budget budget, double volts, double gain, double source) {
    budget.push_back({"drive voltage", volts, true, false});
    budget.push_back({"current gain", gain, true, false});
    budget.push_back({"source resistance", source, true, false});
    return budget;
}

double common_u(const Budget& budget) {
    double sum2 = 0;
    for (const BudgetLine& line : budget) {
        sum2 += line.common ? line.u * line.u : 0;
    }
    return std::sqrt(sum2);
}

std::string name(const std::string& prefix, const char* rest) {
    return prefix + "_load_" + rest;
}

std::string words(const std::string& prefix, const char* rest) {
    return (prefix == "h" ? "horizontal load, " : "vertical load, ") + std::string(rest);
}

class Filler {
  public:
    Filler(LoadStep& step, const LoadFit& fit, const StepSamples& samples, const StepDrive& drive)
        : step_(step), fit_(fit), samples_(samples),
          drive_(drive), formulas_{fit.rises, samples.starts_from_zero, drive},
          method_(fit.rises == 2 ? "two exponentials through the input lag, least squares"
                                 : "exponential through the input lag, least squares") {}

    void run() {
        const auto& p = fit_.fit.p;
        const auto f = [this](double (Formulas::*g)(const Formulas::P&) const) {
            return fit_budget(fit_, samples_, [this, g](const std::vector<double>& q) {
                return (formulas_.*g)(q);
            });
        };
        current_a_ = formulas_.current(p);
        Budget current = f(&Formulas::current);
        current.push_back(
            {"current gain", samples_.gain_u_relative * std::abs(current_a_), true, false});
        step_.current = figure("current_a", "current in the end", "A", current_a_, current, 0);
        const double u = total_u(current);
        if (step_.second.found && step_.second.falls) {
            fill_unmeasured_rest("the current sags or overshoots, which a coil's does not");
            return;
        }
        if (std::abs(current_a_) < kNoCurrentTimes * u &&
            std::abs(current_a_) + 2 * u < drive_.volts / drive_.source_ohm / 4) {
            no_current(u);
            return;
        }
        if (std::abs(current_a_) < drive_.volts / kNoCurrentOhm) {
            no_current(u);
            return;
        }
        ohms(f(&Formulas::ohm), u);
        henries(f(&Formulas::henry), f(&Formulas::tau));
        fast(f(&Formulas::fast_henry));
        parallel_resistor();
    }

  private:
    Figure figure(const char* rest, const char* text, const char* unit, double value,
                  const Budget& budget, double clock_part) {
        Figure made = measured(name(samples_.prefix, rest), words(samples_.prefix, text), unit,
                               value, total_u(budget), step_.count, method_);
        made.u_scale = common_u(budget);
        made.u_clock = clock_part * samples_.clock_u_relative * std::abs(value);
        return made;
    }

    static void bound(Figure& figure, double value, const std::string& reason) {
        figure.value = value;
        figure.status = FigureStatus::kOutOfRange;
        figure.reason = reason;
    }

    void no_current(double u) {
        step_.no_current = true;
        fill_unmeasured_rest("no current flows");
        const double most_a = std::abs(current_a_) + 2 * u;
        bound(step_.resistance, drive_.volts / most_a - drive_.source_ohm,
              fmt::format("at least this: no current above {:.1f} mA flows", 1e3 * most_a));
        step_.resistance.u = 0;
    }

    void fill_unmeasured_rest(const std::string& reason) {
        const Figure kept = step_.current;
        fill_unmeasured(step_, samples_.prefix, reason);
        step_.current = kept;
    }

    void ohms(const Budget& from_fit, double current_u) {
        const double total = drive_.volts / std::abs(current_a_);
        step_.resistance_budget = with_scale(from_fit, total * drive_.volts_u / drive_.volts,
                                             total * samples_.gain_u_relative, drive_.source_ohm_u);
        step_.resistance = figure("resistance_ohm", "resistance", "ohm", formulas_.ohm(fit_.fit.p),
                                  step_.resistance_budget, 0);
        if (current_u > kMostCurrentU * std::abs(current_a_) || endless()) {
            step_.resistance =
                not_measured(step_.resistance.name, step_.resistance.text, "ohm",
                             "the samples end long before the current does not rise any more: "
                             "let the drive on for longer");
        }
    }

    // A rise without a bend in sight: its slope is known, its end is not.
    [[nodiscard]] bool endless() const {
        for (std::size_t k = 0; k < fit_.rises; ++k) {
            const std::size_t at = kFirstRise + 2 * k + 1;
            if (fit_.fit.p[at] >= fit_.parameters[at].high) {
                return true;
            }
        }
        return false;
    }

    void henries(const Budget& from_fit, const Budget& tau_budget) {
        const double henry = formulas_.henry(fit_.fit.p);
        step_.inductance_budget =
            with_scale(from_fit, std::abs(henry) * drive_.volts_u / drive_.volts,
                       std::abs(henry) * samples_.gain_u_relative, 0);
        step_.inductance =
            figure("inductance_h", "inductance", "H", henry, step_.inductance_budget, 1);
        const double tau = formulas_.tau(fit_.fit.p);
        step_.time_constant =
            figure("time_constant_s", "time constant with the source", "s", tau, tau_budget, 1);
        const bool tiny =
            fit_.rises == 1 && (fit_.fit.p[kFirstRise + 1] <= fit_.parameters[kFirstRise + 1].low);
        const double tau_u = tiny ? 0 : step_.time_constant.u;
        if (tiny || !(tau_u < kMostLnTauU * tau)) {
            step_.no_rise = true;
            // A time constant far below the lag shows as a delay: its origin and lag are the limit.
            const double unseen = 2 * std::hypot(samples_.origin_u_s, samples_.lag_u_s);
            const double most_s = std::max(tau + 2 * tau_u, tiny ? tau + unseen : 0);
            const std::string reason =
                fmt::format("at most this: the current rises faster than {:.2g} us, input lag and "
                            "sampling cannot tell how fast",
                            1e6 * most_s);
            bound(step_.time_constant, most_s, reason);
            bound(step_.inductance, drive_.volts * most_s / std::abs(current_a_), reason);
        }
    }

    void fast(const Budget& from_fit) {
        const double henry = formulas_.fast_henry(fit_.fit.p);
        const Budget budget = with_scale(from_fit, std::abs(henry) * drive_.volts_u / drive_.volts,
                                         std::abs(henry) * samples_.gain_u_relative, 0);
        step_.fast_inductance =
            figure("fast_inductance_h", "inductance at the first slope", "H", henry, budget, 1);
        if (step_.no_rise) {
            bound(step_.fast_inductance, step_.inductance.value, step_.inductance.reason);
        } else if (fit_.rises == 2 && !step_.second.resolved) {
            bound(step_.fast_inductance,
                  std::abs(drive_.volts * step_.second.fast_s / (current_a_ * step_.second.share)),
                  "at most this: part of the rise is too fast for input lag and sampling");
        }
    }

    // A resistor across the coil lets part of the current jump: with Rs and Rp the jump is
    // V / (Rs + Rp), and what follows has L / (R + Rs Rp / (Rs + Rp)).
    void parallel_resistor() {
        if (fit_.rises != 2 || step_.second.resolved || step_.second.falls) {
            return;
        }
        const double whole = drive_.volts / current_a_; // Rs + R || Rp
        const double parallel = whole / step_.second.share - drive_.source_ohm;
        const double both = whole - drive_.source_ohm;
        if (!(both > 0) || !(parallel > std::max(kDampingOhm, kDampingTimes * both))) {
            return;
        }
        step_.parallel_ohm = parallel;
        step_.coil_ohm = both * parallel / (parallel - both);
        const double seen = drive_.source_ohm * parallel / (drive_.source_ohm + parallel);
        step_.coil_h = step_.second.slow_s * (step_.coil_ohm + seen);
    }

    LoadStep& step_;
    const LoadFit& fit_;
    const StepSamples& samples_;
    const StepDrive& drive_;
    Formulas formulas_;
    std::string method_;
    double current_a_ = 0;
};

} // namespace

void fill_unmeasured(LoadStep& step, const std::string& prefix, const std::string& reason) {
    const auto none = [&](const char* rest, const char* text, const char* unit) {
        return not_measured(name(prefix, rest), words(prefix, text), unit, reason);
    };
    step.resistance = none("resistance_ohm", "resistance", "ohm");
    step.inductance = none("inductance_h", "inductance", "H");
    step.time_constant = none("time_constant_s", "time constant with the source", "s");
    step.fast_inductance = none("fast_inductance_h", "inductance at the first slope", "H");
    step.current = none("current_a", "current in the end", "A");
}

void fill_figures(LoadStep& step, const LoadFit& fit, const StepSamples& samples,
                  const StepDrive& drive) {
    Filler(step, fit, samples, drive).run();
}

} // namespace yokedock::analysis
