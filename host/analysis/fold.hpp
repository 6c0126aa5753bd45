// SPDX-License-Identifier: MIT
// Folding: samples of many periods laid over one another by their time since a mark (sync or
// retrace edge).
#pragma once
#include "host/capture/observation.hpp"
#include <cstddef>
#include <cstdint>
#include <vector>

namespace yokedock::analysis {

/// Starts of periods, ascending. Spacings that are not close to one period are gaps: nothing is
/// folded there.
struct Marks {
    std::vector<double> time_s;
    double period_s = 0;
    bool sync = false;     ///< marks are sync starts; else the board's own retrace edges
    double period_u_s = 0; ///< of marks that were put on a straight line; 0: each stands for itself
};

struct FoldedSample {
    double phase_s; ///< since its mark, input lag taken off; 0 <= phase < period
    double value;
    double time_s;
    std::uint32_t period; ///< number of the mark
};

/// Mean of the samples that fall in one small step of phase.
struct Cell {
    double phase_s;  ///< mean phase
    double value;    ///< mean value
    double variance; ///< of single samples about a common line; 0 when count is 1
    std::size_t count;
};

struct Fold {
    double period_s = 0;
    bool sync = false;
    double delay_s = 0; ///< input lag that was taken off (one pole: see retrace.hpp)
    double resolution = 0;
    std::vector<FoldedSample> samples; ///< in time order
    std::vector<Cell> cells;           ///< in phase order, only cells with samples
    double noise_sd = 0;               ///< median sd inside cells; 0 when cells hold single samples
    std::size_t periods = 0;           ///< periods that gave samples
    double place_u_s = 0; ///< how far periods may lie beside each other for the doubt of the period
};

inline constexpr std::size_t kCellsPerPeriod = 1024;

[[nodiscard]] Fold fold(const capture::Samples& samples, const Marks& marks,
                        std::size_t cells_per_period = kCellsPerPeriod);

/// Makes cells, noise_sd and periods anew from the samples (after their values were corrected).
void build_cells(Fold& fold, std::size_t cells_per_period = kCellsPerPeriod);

} // namespace yokedock::analysis
