// SPDX-License-Identifier: MIT
// A curve of polynomial pieces whose joints the data choose: for waveforms with corners and with
// stretches of very different speed, where one polynomial would ring and fixed knots would blur.
#pragma once
#include "host/analysis/polynomial.hpp"
#include <cstddef>
#include <vector>

namespace yokedock::analysis {

/// Points in ascending order of t, equal sizes; weight is 1 / variance.
struct WeightedPoints {
    std::vector<double> t, y, weight;
    void add(double time, double value, double variance) {
        t.push_back(time);
        y.push_back(value);
        weight.push_back(1 / variance);
    }
    [[nodiscard]] std::size_t size() const { return t.size(); }
};

struct Piece {
    std::size_t first = 0; ///< points first <= i < last
    std::size_t last = 0;
    PolynomialFit fit;
};

struct PieceOptions {
    std::size_t max_degree = 5; ///< at most 5
    double penalty = 6;         ///< chi-square that one more coefficient or joint must save
};

/// The joints and orders that make chi-square plus penalty smallest (dynamic programming over the
/// allowed joints, then each joint moved point by point to where it saves most). joints: indices
/// where a piece may begin, ascending, within (0, size). A piece is a straight line at
/// least and has two points more than coefficients. Empty when there are too few points for one.
[[nodiscard]] std::vector<Piece> fit_pieces(const WeightedPoints& points,
                                            const std::vector<std::size_t>& joints,
                                            const PieceOptions& options = {});

} // namespace yokedock::analysis
