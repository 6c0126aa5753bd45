// SPDX-License-Identifier: MIT
// The parts of compare(). Inside the module only.
#pragma once
#include "host/diagnose/compare.hpp"
#include "host/diagnose/student.hpp"

namespace yokedock::diagnose {

/// Condition::what of files without sync: lock is then not waited for.
inline constexpr const char* kLockCondition = "lock";

/// What the conditions do to the comparison.
struct Bearing {
    std::vector<Condition> conditions;
    bool same_scale = false;        ///< gain, zero and clock drop out of differences
    std::string no_sync_figures[2]; ///< by axis: why it was fed other rates, so that nothing of it
                                    ///< can be judged
    std::string no_window_figures[2];
};
[[nodiscard]] Bearing judge_conditions(const Measurement& record,
                                       const std::vector<Measurement>& references,
                                       const CompareOptions& options);

/// tests: judgements to share the false alarms out to.
[[nodiscard]] std::vector<FigureComparison>
compare_figures(const Measurement& record, const std::vector<Measurement>& references,
                const CompareOptions& options, const Bearing& bearing, std::size_t tests);

[[nodiscard]] RampComparison compare_ramp(Axis axis, const Measurement& record,
                                          const std::vector<Measurement>& references,
                                          const CompareOptions& options, const Bearing& bearing,
                                          std::size_t tests);

/// Places of a ramp that can stray alone: about the coefficients its fit has (ramp_fit.hpp).
inline constexpr std::size_t kShapeTests = 16;

void judge_axes(Comparison& comparison, const CompareOptions& options, const Bearing& bearing);

/// One reading of several references.
struct Pooled {
    double mean = 0;
    double own_u = 0;  ///< of one reading, root mean square
    double spread = 0; ///< NaN for one
    std::size_t n = 0;
};
[[nodiscard]] Pooled pool(const std::vector<double>& values, const std::vector<double>& own_us);

/// u of a difference without what is common to all readings, and the band that good boards leave.
struct Doubt {
    double u = 0;
    double freedoms = kManyFreedoms;
    double tolerance = 0;
    std::string basis;
};
/// tolerance: stated or default. boards_sd: how good boards differ as far as is known before any is
/// seen; 0: no room is left for that (a stated tolerance, or a figure that is equal in all).
struct Allowance {
    double tolerance = 0;
    bool stated = false;
    double boards_sd = 0;
};
[[nodiscard]] Doubt doubt_of(double own_u, const Pooled& reference, const Allowance& allowance,
                             ReferenceKind kind, std::size_t tests);
[[nodiscard]] double coverage_of(double freedoms, std::size_t tests);

/// The rule of docs/compare.md.
[[nodiscard]] Verdict judge(double difference, double u, double coverage, double tolerance);

[[nodiscard]] inline std::size_t index_of(Axis axis) {
    return axis == Axis::kVertical ? 0 : 1;
}
[[nodiscard]] std::string place_on_picture(Axis axis, double place);

} // namespace yokedock::diagnose
