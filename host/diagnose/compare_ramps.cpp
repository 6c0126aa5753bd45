// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_parts.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {
namespace {

using analysis::RampCurve;

const RampCurve* find_curve(const Measurement& m, const std::string& channel) {
    for (const RampCurve& curve : m.curves) {
        if (curve.channel == channel) {
            return &curve;
        }
    }
    return nullptr;
}

std::string why_none(const Measurement& m, const std::string& channel) {
    const analysis::Figure* size =
        analysis::find_figure(m.figures, channel == "v_yoke_a" ? "v_yoke_pp_a" : "h_yoke_pp_a");
    return fmt::format("no ramp in {}{}", m.name,
                       size == nullptr || size->reason.empty() ? "" : ": " + size->reason);
}

bool one_window(const RampCurve& a, const RampCurve& b) {
    if (a.against_sync != b.against_sync) {
        return false;
    }
    // Parts of the board's own trace are compared part by part.
    const double span = a.window_end_s - a.window_begin_s;
    return !a.against_sync || (std::abs(a.window_begin_s - b.window_begin_s) < 1e-6 * span &&
                               std::abs(a.window_end_s - b.window_end_s) < 1e-6 * span);
}

/// All references as one curve; per place.
struct Reference {
    std::vector<double> mean;
    std::vector<double> u;
    double gain_u = 0;
    double zero_u = 0;
    double pp = 0;
};

Reference mean_curve(const std::vector<const RampCurve*>& curves) {
    Reference r;
    const auto n = static_cast<double>(curves.size());
    for (std::size_t i = 0; i < analysis::kCurvePlaces; ++i) {
        double sum = 0;
        double variance = 0;
        for (const RampCurve* curve : curves) {
            sum += curve->value[i];
            variance += curve->u[i] * curve->u[i];
        }
        r.mean.push_back(sum / n);
        r.u.push_back(std::sqrt(variance) / n);
    }
    for (const RampCurve* curve : curves) {
        r.gain_u += curve->gain_u_relative / n;
        r.zero_u += curve->zero_u / n;
    }
    const auto [low, high] = std::minmax_element(r.mean.begin(), r.mean.end());
    r.pp = *high - *low;
    return r;
}

/// f = shift + ratio * g + rest, by least squares over equal times.
struct SizeAndShape {
    double ratio = 1;
    double shift = 0; ///< of the middle: mean of f less mean of g
    double ratio_u = 0;
    double shift_u = 0;
    std::vector<double> rest;
};

SizeAndShape take_off_size(const std::vector<double>& f, const std::vector<double>& g,
                           const std::vector<double>& u) {
    const auto n = static_cast<double>(f.size());
    double mf = 0;
    double mg = 0;
    for (std::size_t i = 0; i < f.size(); ++i) {
        mf += f[i] / n;
        mg += g[i] / n;
    }
    double fg = 0;
    double gg = 0;
    double gu = 0;
    double uu = 0;
    for (std::size_t i = 0; i < f.size(); ++i) {
        fg += (f[i] - mf) * (g[i] - mg);
        gg += (g[i] - mg) * (g[i] - mg);
        gu += std::abs(g[i] - mg) * u[i];
        uu += u[i] / n;
    }
    SizeAndShape s;
    s.ratio = gg > 0 ? fg / gg : 1;
    s.shift = mf - mg;
    s.ratio_u = gg > 0 ? gu / gg : 0; // as if all places erred together: never too small
    s.shift_u = uu;
    for (std::size_t i = 0; i < f.size(); ++i) {
        s.rest.push_back(f[i] - mf - s.ratio * (g[i] - mg));
    }
    return s;
}

RampComparison::Largest largest(Axis axis, const std::vector<double>& pct,
                                const std::vector<double>& u_pct, const std::vector<double>& x) {
    std::size_t at = 0;
    for (std::size_t i = 0; i < pct.size(); ++i) {
        at = std::abs(pct[i]) > std::abs(pct[at]) ? i : at;
    }
    return {pct[at], u_pct[at], x[at], place_on_picture(axis, x[at])};
}

/// Noise adds to a mean square what it has itself; and d rms = sum(r dr) / (n rms) never exceeds
/// the root mean square of dr.
void rms(const std::vector<double>& pct, const std::vector<double>& u_pct, double& value,
         double& u) {
    double square = 0;
    double noise = 0;
    for (std::size_t i = 0; i < pct.size(); ++i) {
        square += pct[i] * pct[i] / static_cast<double>(pct.size());
        noise += u_pct[i] * u_pct[i] / static_cast<double>(pct.size());
    }
    value = std::sqrt(std::max(0.0, square - noise));
    u = std::sqrt(noise);
}

/// How good boards differ in shape at each place, % of p-p: NaN where there is one only.
std::vector<double> shape_spread(const std::vector<const RampCurve*>& curves,
                                 const Reference& mean) {
    std::vector<double> out(mean.mean.size(), std::nan(""));
    if (curves.size() < 2) {
        return out;
    }
    std::vector<double> sum2(mean.mean.size());
    for (const RampCurve* curve : curves) {
        const SizeAndShape s = take_off_size(curve->value, mean.mean, curve->u);
        for (std::size_t i = 0; i < sum2.size(); ++i) {
            sum2[i] += std::pow(100 * s.rest[i] / mean.pp, 2);
        }
    }
    for (std::size_t i = 0; i < sum2.size(); ++i) {
        out[i] = std::sqrt(sum2[i] / static_cast<double>(curves.size() - 1));
    }
    return out;
}

Verdict worst_place(const RampComparison& c, const std::vector<double>& spread,
                    const std::vector<double>& record_u, const std::vector<double>& reference_u,
                    std::size_t references, const CompareOptions& options, std::size_t tests,
                    RampComparison& out) {
    bool all_same = true;
    Verdict verdict = Verdict::kSame;
    for (std::size_t i = 0; i < c.shape_pct.size(); ++i) {
        const Pooled pooled{0, reference_u[i] * std::sqrt(static_cast<double>(references)),
                            spread[i], references};
        const Doubt doubt =
            doubt_of(record_u[i], pooled, {kShapeTolerancePct, false, kShapeTolerancePct},
                     options.kind, tests);
        const double coverage = coverage_of(doubt.freedoms, tests);
        const Verdict here = judge(c.shape_pct[i], doubt.u, coverage, doubt.tolerance);
        if (here == Verdict::kDifferent) {
            verdict = here;
        }
        all_same = all_same && here == Verdict::kSame;
        if (c.x[i] == c.shape_largest.place) {
            out.tolerance_pct = doubt.tolerance;
            out.basis = doubt.basis;
            out.coverage = coverage;
            out.shape_largest.u_pct = doubt.u;
        }
    }
    return verdict == Verdict::kDifferent ? verdict
           : all_same                     ? Verdict::kSame
                                          : Verdict::kCannotTell;
}

} // namespace

RampComparison compare_ramp(Axis axis, const Measurement& record,
                            const std::vector<Measurement>& references,
                            const CompareOptions& options, const Bearing& bearing,
                            std::size_t tests) {
    RampComparison c;
    c.axis = axis;
    c.channel = axis == Axis::kVertical ? "v_yoke_a" : "h_yoke_a";
    const std::size_t k = index_of(axis);
    if (!bearing.no_sync_figures[k].empty() || !bearing.no_window_figures[k].empty()) {
        c.verdict = Verdict::kNotComparable;
        c.reason = bearing.no_sync_figures[k].empty() ? bearing.no_window_figures[k]
                                                      : bearing.no_sync_figures[k];
        return c;
    }
    const RampCurve* own = find_curve(record, c.channel);
    std::vector<const RampCurve*> curves;
    for (const Measurement& reference : references) {
        if (const RampCurve* curve = find_curve(reference, c.channel)) {
            curves.push_back(curve);
        } else if (c.reason.empty()) {
            c.reason = why_none(reference, c.channel);
        }
    }
    if (own == nullptr || curves.empty()) {
        c.reason = own == nullptr ? why_none(record, c.channel) : c.reason;
        return c;
    }
    c.reason.clear();
    for (const RampCurve* curve : curves) {
        if (!one_window(*own, *curve)) {
            c.verdict = Verdict::kNotComparable;
            c.reason = "the ramps were judged over different windows";
            return c;
        }
    }
    const Reference reference = mean_curve(curves);
    c.against_sync = own->against_sync;
    c.window_begin_s = own->window_begin_s;
    c.window_end_s = own->window_end_s;
    c.pp = reference.pp;
    const double to_pct = 100 / reference.pp;
    std::vector<double> u_pct; // of the difference as it is
    std::vector<double>
        record_u_pct; // without gain and zero: size and centring take those with them
    std::vector<double> reference_u_pct;
    std::vector<double> own_u_pct;
    std::vector<double> own_u;
    for (std::size_t i = 0; i < analysis::kCurvePlaces; ++i) {
        c.x.push_back(-1 + 2 * static_cast<double>(i) / (analysis::kCurvePlaces - 1));
        c.difference_pct.push_back((own->value[i] - reference.mean[i]) * to_pct);
        record_u_pct.push_back(own->u[i] * to_pct);
        reference_u_pct.push_back(reference.u[i] * to_pct);
        own_u.push_back(std::hypot(own->u[i], reference.u[i]));
        own_u_pct.push_back(own_u.back() * to_pct);
        const double gain_u =
            bearing.same_scale ? 0 : std::hypot(own->gain_u_relative, reference.gain_u);
        const double zero_u = bearing.same_scale ? 0 : std::hypot(own->zero_u, reference.zero_u);
        u_pct.push_back(
            std::hypot(own_u_pct.back(), std::hypot(gain_u * reference.mean[i], zero_u) * to_pct));
    }
    const SizeAndShape split = take_off_size(own->value, reference.mean, own_u);
    for (const double rest : split.rest) {
        c.shape_pct.push_back(rest * to_pct);
    }
    const double gain_u =
        bearing.same_scale ? 0 : std::hypot(own->gain_u_relative, reference.gain_u);
    const double zero_u = bearing.same_scale ? 0 : std::hypot(own->zero_u, reference.zero_u);
    c.size_ratio = split.ratio;
    c.size_ratio_u = std::hypot(split.ratio_u, gain_u);
    c.shift_pct = split.shift * to_pct;
    c.shift_u_pct = std::hypot(split.shift_u, zero_u) * to_pct;
    c.largest = largest(axis, c.difference_pct, u_pct, c.x);
    rms(c.difference_pct, u_pct, c.rms_pct, c.rms_u_pct);
    c.shape_largest = largest(axis, c.shape_pct, own_u_pct, c.x);
    rms(c.shape_pct, own_u_pct, c.shape_rms_pct, c.shape_rms_u_pct);
    c.verdict = worst_place(c, shape_spread(curves, reference), record_u_pct, reference_u_pct,
                            curves.size(), options, tests, c);
    if (c.verdict == Verdict::kCannotTell) {
        c.reason = "not measured well enough at every place";
    }
    return c;
}

} // namespace yokedock::diagnose
