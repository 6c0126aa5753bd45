// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_parts.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {
namespace {

using analysis::Figure;
using analysis::FigureStatus;
using Way = FigureRule::Way;

bool has_value(const Figure* figure) {
    return figure != nullptr && figure->status == FigureStatus::kMeasured &&
           std::isfinite(figure->value);
}

/// What is common to all measurements by one bench: gain and zero in u, the clock beside it.
double common_u(const Figure& f) {
    return std::hypot(std::isfinite(f.u_scale) ? f.u_scale : 0,
                      std::isfinite(f.u_clock) ? f.u_clock : 0);
}

/// NaN stays NaN: a figure without uncertainty proves nothing.
double own_u(const Figure& f) {
    if (!std::isfinite(f.u)) {
        return std::nan("");
    }
    return std::sqrt(std::max(0.0, f.u * f.u - f.u_scale * f.u_scale));
}

std::string missing_words(const Figure* figure, const std::string& name) {
    if (figure == nullptr || figure->reason.empty()) {
        return "not measured in " + name;
    }
    return fmt::format("{} in {}: {}",
                       figure->status == FigureStatus::kOutOfRange ? "out of range"
                                                                   : "not measured",
                       name, figure->reason);
}

class Comparer {
  public:
    Comparer(const Measurement& record, const std::vector<Measurement>& references,
             const CompareOptions& options, const Bearing& bearing, std::size_t tests)
        : record_(record), references_(references), options_(options), bearing_(bearing),
          tests_(tests) {}

    [[nodiscard]] FigureComparison compare(const Figure& figure) const {
        FigureComparison c;
        c.name = figure.name;
        c.text = figure.text;
        c.unit = figure.unit;
        c.rule = rule_of(figure.name);
        c.where = figure.where;
        c.value = has_value(&figure) ? figure.value : std::nan("");
        c.reference = c.difference = c.u = c.spread = c.tolerance = std::nan("");
        std::vector<const Figure*> found;
        for (const Measurement& reference : references_) {
            const Figure* other = analysis::find_figure(reference.figures, figure.name);
            if (has_value(other)) {
                found.push_back(other);
            } else if (c.reason.empty()) {
                c.reason = missing_words(other, reference.name);
            }
        }
        c.references = found.size();
        if (!found.empty()) {
            c.reason.clear();
            fill(figure, found, c);
        }
        settle(figure, found, c);
        return c;
    }

  private:
    void fill(const Figure& figure, const std::vector<const Figure*>& found,
              FigureComparison& c) const {
        std::vector<double> values;
        std::vector<double> us;
        double reference_common = 0;
        for (const Figure* other : found) {
            values.push_back(other->value);
            us.push_back(own_u(*other));
            reference_common += common_u(*other) / static_cast<double>(found.size());
        }
        const Pooled reference = pool(values, us);
        c.reference = reference.mean;
        c.spread = reference.spread;
        if (!has_value(&figure)) {
            return;
        }
        c.difference = figure.value - reference.mean;
        const auto stated = options_.tolerance.find(figure.name);
        const bool is_stated = stated != options_.tolerance.end();
        const double tolerance =
            is_stated ? stated->second : default_tolerance(c.rule, reference.mean, size_of(c));
        double own = own_u(figure);
        Pooled pooled = reference;
        if (c.rule.way == Way::kCount) { // of Poisson's kind
            own = std::sqrt(std::max(figure.value, 0.0));
            pooled.own_u = std::sqrt(std::max(reference.mean, 0.0));
        }
        const Doubt doubt =
            doubt_of(own, pooled, {tolerance, is_stated, c.rule.boards_share * tolerance},
                     options_.kind, tests_);
        const double common = bearing_.same_scale ? common_u(figure) - reference_common
                                                  : std::hypot(common_u(figure), reference_common);
        c.u = std::hypot(doubt.u, common);
        // What is common is known from sheets and calibrations, taken as of many readings.
        c.freedoms =
            effective_freedoms(doubt.u * doubt.u, doubt.freedoms, common * common, kManyFreedoms);
        c.tolerance = doubt.tolerance;
        c.basis = doubt.basis;
    }

    [[nodiscard]] double size_of(const FigureComparison& c) const {
        const std::string name = c.rule.axis == Axis::kVertical ? "v_yoke_pp_a" : "h_yoke_pp_a";
        const Figure* size = analysis::find_figure(references_[0].figures, name);
        return has_value(size) ? size->value : std::nan("");
    }

    void settle(const Figure& figure, const std::vector<const Figure*>& found,
                FigureComparison& c) const {
        if (c.rule.way == Way::kShown) {
            c.verdict = Verdict::kNotJudged;
            c.tolerance = std::nan("");
            c.basis.clear();
            return;
        }
        if (const std::string reason = why_not_comparable(c.rule); !reason.empty()) {
            c.verdict = Verdict::kNotComparable;
            c.reason = reason;
            return;
        }
        if (found.empty()) {
            c.verdict = Verdict::kNotMeasured;
            return;
        }
        if (!has_value(&figure)) {
            missing_in_record(figure, c);
            return;
        }
        c.coverage = coverage_of(c.freedoms, tests_);
        c.real = std::abs(c.difference) > c.coverage * c.u && c.difference != 0;
        if (c.rule.way == Way::kYesOrNo) {
            const bool agree = std::all_of(found.begin(), found.end(), [&](const Figure* f) {
                return f->value == found.front()->value;
            });
            c.tolerance = 0;
            c.basis = "yes or no";
            c.verdict = !agree ? Verdict::kCannotTell
                               : (c.difference == 0 ? Verdict::kSame : Verdict::kDifferent);
            c.reason = agree ? "" : "the references do not agree";
            return;
        }
        c.verdict = judge(c.difference, c.u, c.coverage, c.tolerance);
        if (c.verdict == Verdict::kCannotTell) {
            c.reason = std::abs(c.difference) > c.tolerance
                           ? "beyond tolerance, but measuring alone can do that"
                           : "within tolerance, but not measured well enough to prove it";
        }
    }

    /// "": nothing bars it. At another rate even a retrace differs by itself: it goes with the
    /// size, and a capacitor that is charged in another time makes another size. The supply feeds
    /// both axes.
    [[nodiscard]] std::string why_not_comparable(const FigureRule& rule) const {
        if (rule.axis == Axis::kBoard) {
            const auto& reasons = bearing_.no_sync_figures;
            return reasons[0].empty() ? reasons[1] : reasons[0];
        }
        const std::size_t axis = index_of(rule.axis);
        if (!bearing_.no_sync_figures[axis].empty()) {
            return bearing_.no_sync_figures[axis];
        }
        return rule.needs_window ? bearing_.no_window_figures[axis] : "";
    }

    /// "": the record would show retraces of the reference's rate if there were any.
    [[nodiscard]] std::string why_none_seen(const char* channel, double rate_hz) const {
        const auto found = record_.channels.find(channel);
        if (found == record_.channels.end()) {
            return fmt::format("{} was not sampled", channel);
        }
        const Sampling& sampling = found->second;
        const double periods = sampling.seconds * rate_hz;
        if (periods < kPeriodsForNone) {
            return fmt::format("{} was sampled over {:.2g} of the reference's periods, expected at "
                               "least {:g}; record it for longer",
                               channel, periods, kPeriodsForNone);
        }
        // A bench has its comparators, however far apart it samples.
        if (record_.under.imported && sampling.step_s * rate_hz * kSamplesPerPeriod > 1) {
            return fmt::format("{} has {:.2g} samples per period of the reference, expected at "
                               "least {:g}; record it in smaller steps",
                               channel, 1 / (sampling.step_s * rate_hz), kSamplesPerPeriod);
        }
        return "";
    }

    /// A board that has no rate any more while it was looked at for long enough does not work: that
    /// is a finding, not a gap.
    void missing_in_record(const Figure& figure, FigureComparison& c) const {
        c.verdict = Verdict::kNotMeasured;
        c.reason = missing_words(&figure, record_.name);
        const char* channel = c.rule.axis == Axis::kVertical ? "v_yoke_a" : "h_yoke_a";
        if (c.rule.item != Item::kRate || !record_.under.complete ||
            figure.status != FigureStatus::kNotMeasured) {
            return;
        }
        if (const std::string blind = why_none_seen(channel, c.reference); !blind.empty()) {
            c.reason = fmt::format("not measured in {}: {}", record_.name, blind);
        } else {
            c.verdict = Verdict::kDifferent;
            c.real = true;
            c.reason = fmt::format("there is none in {}: {}", record_.name, figure.reason);
        }
    }

    const Measurement& record_;
    const std::vector<Measurement>& references_;
    const CompareOptions& options_;
    const Bearing& bearing_;
    std::size_t tests_;
};

} // namespace

std::vector<FigureComparison> compare_figures(const Measurement& record,
                                              const std::vector<Measurement>& references,
                                              const CompareOptions& options, const Bearing& bearing,
                                              std::size_t tests) {
    const Comparer comparer(record, references, options, bearing, tests);
    std::vector<FigureComparison> out;
    for (const Figure& figure : record.figures) {
        out.push_back(comparer.compare(figure));
    }
    return out;
}

} // namespace yokedock::diagnose
