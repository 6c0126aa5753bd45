// SPDX-License-Identifier: MIT
// Measurements of boards of known truth (synthetic_board.hpp), as `yokedock compare` takes them
// from records.
#pragma once
#include "host/diagnose/compare.hpp"
#include "tests/unit/analysis/synthetic_board.hpp"

namespace synthetic {

struct MeasuredBoard {
    yokedock::diagnose::Measurement measurement;
    yokedock::analysis::AnalysisOptions windows; ///< for those that are compared with it
};

inline MeasuredBoard measured(const Board& board, const std::string& name,
                              const yokedock::analysis::AnalysisOptions& windows = {}) {
    using namespace yokedock;
    const capture::Observation o = board.observe();
    analysis::AnalysisResult result = analysis::analyse(o, windows);
    const auto fixed = diagnose::windows_of(result, windows);
    if (!windows.vertical_window && fixed.vertical_window) {
        result = analysis::analyse(o, fixed);
    }
    MeasuredBoard m;
    m.windows = fixed;
    diagnose::Circumstances& under = m.measurement.under;
    under.standard = "free";
    under.line_rate_hz = o.line_rate_hz;
    under.field_rate_hz = o.field_rate_hz;
    under.sync_on = o.sync_on;
    under.bench = "bench 13";
    under.scale = {1};
    under.vertical_coil = {22e-3, 11.0, 10};
    under.horizontal_coil = {320e-6, 0.5, 10};
    m.measurement.name = name;
    m.measurement.figures = std::move(result.figures);
    m.measurement.curves = std::move(result.curves);
    m.measurement.channels = diagnose::samplings_of(o);
    return m;
}

/// A board against another, or itself with another seed, on one bench.
inline yokedock::diagnose::Comparison
compared(const Board& record, const Board& reference,
         const yokedock::diagnose::CompareOptions& options = {}) {
    const MeasuredBoard good = measured(reference, "good.json");
    const MeasuredBoard other = measured(record, "repaired.json", good.windows);
    return yokedock::diagnose::compare(other.measurement, {good.measurement}, options);
}

inline const yokedock::diagnose::FigureComparison* find(const yokedock::diagnose::Comparison& c,
                                                        const std::string& name) {
    for (const auto& figure : c.figures) {
        if (figure.name == name) {
            return &figure;
        }
    }
    return nullptr;
}

} // namespace synthetic
