// SPDX-License-Identifier: MIT
// One deflection axis: which names, channels, edges and sync belong to it, and its timing. Inside
// the module only.
#pragma once
#include "host/analysis/analyse.hpp"
#include "host/analysis/fold.hpp"

namespace yokedock::analysis {

struct Axis {
    bool vertical;
    const char* prefix; ///< "v"
    const char* word;   ///< "vertical"
    const char* early;  ///< where the window begins on the picture: "top", "left"
    const char* late;
    const char* channel; ///< "v_yoke_a"
    const capture::PulseTrain* pulses;
    const std::vector<double>* sync_s;
    const capture::Samples* ramp; ///< nullptr when not sampled
    const std::optional<SyncWindow>* window;
    TracePart part;
    double s_q;
    LockCriteria lock;
    double least_rate_hz; ///< what is believed of a rate that was read off the current
    double most_rate_hz;

    [[nodiscard]] std::string name(const char* rest) const {
        return std::string(prefix) + "_" + rest;
    }
    [[nodiscard]] std::string text(const char* rest) const {
        return std::string(word) + " " + rest;
    }
};

[[nodiscard]] Axis vertical_axis(const capture::Observation& observation,
                                 const AnalysisOptions& options);
[[nodiscard]] Axis horizontal_axis(const capture::Observation& observation,
                                   const AnalysisOptions& options);

enum class EdgeSource { kNone, kComparator, kRamp };

struct AxisTiming {
    EdgeSource source = EdgeSource::kNone;
    std::string edge_problem; ///< why there is no period
    std::optional<PeriodFit> edges;
    std::optional<PeriodFit> sync;
    std::optional<PhaseTrack> track;
    LockDecision lock; ///< kUndecided with text when it cannot be known
};

[[nodiscard]] AxisTiming time_axis(const Axis& axis, const capture::Observation& observation);

/// Samples of a channel folded on sync when locked, else on the board's own edges.
struct AxisFold {
    Fold fold;
    std::string problem; ///< why there is nothing
};
[[nodiscard]] AxisFold fold_axis(const Axis& axis, const AxisTiming& timing,
                                 const capture::Samples& samples);

/// "early", "late" or "middle" for a place from -1 to 1.
[[nodiscard]] std::string where_on(const Axis& axis, double place);

} // namespace yokedock::analysis
