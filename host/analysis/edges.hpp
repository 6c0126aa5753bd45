// SPDX-License-Identifier: MIT
// Which period does each edge belong to? Index assignment that survives missing edges, extra edges
// and stretches of time that were not watched.
#pragma once
#include "host/capture/observation.hpp"
#include <cstddef>
#include <cstdint>
#include <vector>

namespace yokedock::analysis {

/// An edge that was accepted: its time and the number of its period. Numbers rise strictly inside a
/// run.
struct IndexedEdge {
    double time_s;
    std::int64_t index;
    std::size_t run; ///< edges of one run count on without doubt; between runs the count was lost
};

struct EdgeIndex {
    std::vector<IndexedEdge> edges; ///< in time order
    std::size_t runs = 0;
    std::size_t missing = 0;     ///< periods without an edge in watched time
    std::size_t extra = 0;       ///< edges that belong to no period
    double typical_period_s = 0; ///< median of the spacing; 0 without edges
};

/// times_s ascending. A gap that overlaps `unwatched` never counts as missing edges. Less than two
/// edges: empty.
[[nodiscard]] EdgeIndex index_edges(const std::vector<double>& times_s,
                                    const std::vector<capture::Interval>& unwatched = {});

} // namespace yokedock::analysis
