// SPDX-License-Identifier: MIT
#include "host/analysis/load_standing.hpp"

namespace yokedock::analysis {
namespace {

LoadStanding stand_figure(const Figure& figure, double u, const Band& band) {
    switch (figure.status) {
    case FigureStatus::kMeasured:
        return stand(figure.value, u, band);
    case FigureStatus::kOutOfRange: // of an inductance: an upper bound
        return figure.value < band.low ? LoadStanding::kLow : LoadStanding::kNotMeasured;
    case FigureStatus::kNotMeasured:
        break;
    }
    return LoadStanding::kNotMeasured;
}

Band inductance_band(const ExpectedCoil& coil) {
    const double part = coil.tolerance_pct / 100;
    return {*coil.inductance_h * (1 - part), *coil.inductance_h * (1 + part)};
}

Band resistance_band(const ExpectedCoil& coil) {
    const double part = coil.tolerance_pct / 100;
    return {*coil.resistance_ohm * (1 - part), *coil.resistance_ohm * kCopperHot * (1 + part)};
}

} // namespace

LoadStanding stand(double value, double u, const Band& band) {
    if (value + 2 * u < band.low) {
        return LoadStanding::kLow;
    }
    if (value - 2 * u > band.high) {
        return LoadStanding::kHigh;
    }
    if (2 * u > (band.high - band.low) / 2) {
        return LoadStanding::kCoarse;
    }
    return value >= band.low && value <= band.high ? LoadStanding::kInside : LoadStanding::kNearBy;
}

bool Standings::off() const {
    const auto out = [](LoadStanding s) {
        return s == LoadStanding::kLow || s == LoadStanding::kHigh;
    };
    return out(inductance) || out(resistance);
}

bool Standings::any() const {
    return inductance != LoadStanding::kNotStated || resistance != LoadStanding::kNotStated;
}

Standings against_profile(const LoadStep& step, const ExpectedCoil& coil) {
    Standings s;
    if (coil.inductance_h) {
        s.inductance_h = inductance_band(coil);
        s.inductance = stand_figure(step.inductance, total_u(step.inductance), s.inductance_h);
    }
    if (coil.resistance_ohm) {
        s.resistance_ohm = resistance_band(coil);
        s.resistance = stand_figure(step.resistance, total_u(step.resistance), s.resistance_ohm);
    }
    return s;
}

Standings against_learned(const LoadStep& step, const LearnedCoil& coil) {
    Standings s;
    const double part = coil.tolerance_pct / 100;
    if (coil.inductance.status == FigureStatus::kMeasured) {
        s.inductance_h = {coil.inductance.value * (1 - part), coil.inductance.value * (1 + part)};
        s.inductance = stand_figure(step.inductance, difference_u(coil.inductance, step.inductance),
                                    s.inductance_h);
    }
    if (coil.resistance.status == FigureStatus::kMeasured) {
        s.resistance_ohm = {coil.resistance.value / kCopperHot * (1 - part),
                            coil.resistance.value * kCopperHot * (1 + part)};
        s.resistance = stand_figure(step.resistance, difference_u(coil.resistance, step.resistance),
                                    s.resistance_ohm);
    }
    return s;
}

Standings bare_against_profile(const LoadStep& step, const ExpectedCoil& coil) {
    LoadStep bare = step;
    bare.inductance.value = step.coil_h;
    bare.resistance.value = step.coil_ohm;
    return against_profile(bare, coil);
}

} // namespace yokedock::analysis
