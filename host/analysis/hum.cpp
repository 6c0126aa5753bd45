// SPDX-License-Identifier: MIT
#include "host/analysis/hum.hpp"
#include "host/analysis/segment.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kMinBeats = 1.5;
constexpr double kSignificant = 4;
constexpr std::size_t kColumns = 4; // per frequency

struct Ramp {
    double centre;
    double half;
};

Ramp ramp_of(const RampFit& fit) {
    const double a = fit.value(-1);
    const double b = fit.value(1);
    return {(a + b) / 2, std::max(std::abs(b - a) / 2, 1e-300)};
}

void fill_row(const Hum& hum, double time_s, double position, double* row) {
    for (const double f : hum.frequency_hz) {
        const double angle = 2 * M_PI * f * time_s;
        row[0] = std::cos(angle);
        row[1] = std::sin(angle);
        row[2] = position * row[0];
        row[3] = position * row[1];
        row += kColumns;
    }
}

double beat_with(double frequency_hz, double rate_hz) {
    const double turns = std::round(frequency_hz / rate_hz);
    return std::abs(frequency_hz - turns * rate_hz);
}

// Peak to peak of a sum of components from their amplitudes, what noise adds on average taken off.
void amplitude(const Hum& hum, const Matrix& v, std::size_t offset, double scale, double& pp,
               double& u) {
    double power = 0;
    double noise = 0;
    for (std::size_t h = 0; h < hum.frequency_hz.size(); ++h) {
        for (std::size_t k = 0; k < 2; ++k) {
            const std::size_t i = h * kColumns + offset + k;
            power += hum.c[i] * hum.c[i];
            noise += v(i, i);
        }
    }
    const double components = 2 * static_cast<double>(hum.frequency_hz.size());
    pp = 2 * scale * std::sqrt(std::max(0.0, power - noise));
    u = 2 * scale * std::sqrt(noise / components);
}

} // namespace

Hum measure_hum(const Fold& fold, const RampFit& fit, double mains_hz) {
    Hum hum;
    hum.mains_hz = mains_hz;
    if (fold.samples.size() < 50) {
        hum.problem = "too few samples";
        return hum;
    }
    const double duration = fold.samples.back().time_s - fold.samples.front().time_s;
    hum.beat_hz = 1e300;
    for (const double f : {mains_hz, 2 * mains_hz}) {
        const double beat = beat_with(f, 1 / fold.period_s);
        hum.beat_hz = std::min(hum.beat_hz, beat);
        if (beat * duration >= kMinBeats) {
            hum.frequency_hz.push_back(f);
        }
    }
    if (hum.frequency_hz.size() < 2) {
        hum.problem = fmt::format(
            "mains of {:g} Hz beats with it at {:.3g} Hz: {:.2g} s of samples cannot tell "
            "hum from the ramp's shape, {:.2g} s would",
            mains_hz, hum.beat_hz, duration, kMinBeats / std::max(hum.beat_hz, 1e-3));
        return hum;
    }
    const Ramp ramp = ramp_of(fit);
    std::vector<double> residual;
    std::vector<double> rows;
    const std::size_t columns = kColumns * hum.frequency_hz.size();
    for (const FoldedSample& s : fold.samples) {
        const double t = unroll(s.phase_s, fit.window.begin_s, fold.period_s);
        if (t > fit.window.end_s) {
            continue;
        }
        const double value = fit.value(fit.window.unit(t));
        residual.push_back(s.value - value);
        rows.resize(rows.size() + columns);
        fill_row(hum, s.time_s, (value - ramp.centre) / ramp.half,
                 rows.data() + rows.size() - columns);
    }
    Matrix design(residual.size(), columns);
    std::copy(rows.begin(), rows.end(), design.row(0));
    const LinearFit solved = least_squares(design, residual);
    if (!solved.ok) {
        hum.problem = "samples do not determine the mains component";
        return hum;
    }
    hum.c = solved.coefficients;
    hum.count = residual.size();
    Matrix v = solved.inverse_normal;
    const double variance = solved.residual_sd() * solved.residual_sd();
    for (std::size_t i = 0; i < columns; ++i) {
        for (std::size_t j = 0; j < columns; ++j) {
            v(i, j) *= variance;
        }
    }
    const double percent_of_pp = 100 / (2 * ramp.half);
    amplitude(hum, v, 0, percent_of_pp, hum.position_pct, hum.position_u_pct);
    amplitude(hum, v, 2, 2 * percent_of_pp, hum.size_pct, hum.size_u_pct);
    hum.significant = hum.position_pct > kSignificant * hum.position_u_pct ||
                      hum.size_pct > kSignificant * hum.size_u_pct;
    hum.ok = true;
    return hum;
}

void remove_hum(Fold& fold, const RampFit& fit, const Hum& hum) {
    const Ramp ramp = ramp_of(fit);
    std::vector<double> row(kColumns * hum.frequency_hz.size());
    for (FoldedSample& s : fold.samples) {
        // Outside the window the current itself says where on the ramp it stands.
        const double position = std::clamp((s.value - ramp.centre) / ramp.half, -1.2, 1.2);
        fill_row(hum, s.time_s, position, row.data());
        for (std::size_t j = 0; j < row.size(); ++j) {
            s.value -= hum.c[j] * row[j];
        }
    }
    build_cells(fold);
}

} // namespace yokedock::analysis
