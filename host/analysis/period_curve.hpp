// SPDX-License-Identifier: MIT
// The curve of one period round its retrace, and what is read off it. Inside the module only.
#pragma once
#include "host/analysis/fold.hpp"
#include "host/analysis/pieces.hpp"
#include "host/analysis/segment.hpp"
#include <random>

namespace yokedock::analysis {

/// One period with the middle of retrace in its middle, the trace made to rise, in time order.
struct PeriodPoints {
    WeightedPoints points;
    std::vector<std::size_t> counts; ///< samples behind each point
    double cross_s = 0;
    double half_s = 0;     ///< half of the coarse retrace
    double delay_s = 0;    ///< input lag, one pole
    double resolution = 0; ///< of the quantiser; 0: none
};
[[nodiscard]] PeriodPoints points_round_retrace(const Fold& fold, const Segments& segments);

/// Indices where a piece may begin: close together in and near retrace, wider apart farther away.
[[nodiscard]] std::vector<std::size_t> allowed_joints(const PeriodPoints& period);

/// Pieces with the input lag turned back, joined where neighbours meet.
class PeriodCurve {
  public:
    PeriodCurve(const PeriodPoints& period, std::vector<Piece> pieces, double delay_s);

    /// What went into the input lag, at true time t within the period.
    [[nodiscard]] double value(double t) const;
    [[nodiscard]] const std::vector<Piece>& pieces() const { return pieces_; }

    struct Extreme {
        double time_s;
        double value;
    };
    [[nodiscard]] Extreme highest(double from_s, double to_s) const;
    [[nodiscard]] Extreme lowest(double from_s, double to_s) const;
    /// Where the curve falls through the level between two times, by bisection.
    [[nodiscard]] double falls_through(double level, double from_s, double to_s) const;

  private:
    [[nodiscard]] double piece_value(std::size_t k, double t) const;
    [[nodiscard]] double meeting_place(std::size_t k, const WeightedPoints& points) const;
    [[nodiscard]] Extreme extreme(double from_s, double to_s, double sign) const;

    std::vector<Piece> pieces_;
    std::vector<double> begins_; ///< of each piece, true time
    double end_;
    double delay_s_;
};

/// The same period measured once more: new noise, another place of the quantiser's steps.
[[nodiscard]] WeightedPoints measured_again(const PeriodPoints& period,
                                            const std::vector<Piece>& pieces, double noise_scale,
                                            std::mt19937& random);

} // namespace yokedock::analysis
