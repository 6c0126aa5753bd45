// SPDX-License-Identifier: MIT
// Exact evolution of a small linear system x' = A x over any time, from tables made once: exp(A h)
// for h = unit * 2^k, and a short Taylor series for what is left below one unit. The last Inputs
// entries of the state vector are inputs, constant over a step. (Matrix exponential by scaling and
// squaring: any numerical text.) The last Spare states may be left out of a system; it is then as
// fast as one without them.
#pragma once
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace yokedock::sim {

template <std::size_t States, std::size_t Inputs, std::size_t Spare = 0> class LinearFlow {
  public:
    static constexpr std::size_t kSize = States + Inputs;
    using State = std::array<double, kSize>;
    using Matrix = std::array<State, kSize>; ///< [row][column]; the rows of inputs are empty

    static constexpr int kLevels = 14;
    static constexpr double kUnitS = 1e-6 / 32; ///< level 5 is 1 us, level 6 is 2 us
    static constexpr int kLevelMicrosecond = 5;

    /// Rebuilds the tables; costs microseconds, so only on a change of component values. Without
    /// `spares` their rows and columns must be empty, and the spare states stay as they are.
    void set(const Matrix& a, bool spares = true) {
        spares_ = spares;
        a_ = columns(a);
        Matrix m = exponential(a, kUnitS);
        for (std::size_t k = 0; k < kLevels; ++k) {
            table_[k] = columns(m);
            m = product(m, m);
        }
    }

    /// State after unit * 2^level.
    [[nodiscard]] State step(const State& x, int level) const {
        return apply(table_[static_cast<std::size_t>(level)], x);
    }

    /// State after dt_s (not negative).
    [[nodiscard]] State advance(State x, double dt_s) const {
        constexpr double kTop = kUnitS * (1 << (kLevels - 1));
        while (dt_s >= 2 * kTop) {
            x = step(x, kLevels - 1);
            dt_s -= kTop;
        }
        // Not std::lround: this is the innermost loop of the line stage, dt_s is not negative, and
        // what the rounding leaves is taken up by nudge().
        // NOLINTNEXTLINE(bugprone-incorrect-roundings)
        const auto units = static_cast<unsigned>(dt_s / kUnitS + 0.5);
        for (int k = 0; k < kLevels; ++k) {
            if ((units >> k) & 1u) {
                x = step(x, k);
            }
        }
        return nudge(x, dt_s - units * kUnitS);
    }

    /// State after a small dt_s of either sign. Within 31 ns two terms leave an error of (rate *
    /// dt)^3 / 6: under 1e-6 of the state up to 500 krad/s.
    [[nodiscard]] State nudge(const State& x, double dt_s) const {
        const State d1 = derivative(x);
        const State d2 = derivative(d1);
        State y = x;
        for (std::size_t r = 0; r < States; ++r) {
            y[r] += dt_s * (d1[r] + 0.5 * dt_s * d2[r]);
        }
        return y;
    }

    /// Rate of change; 0 for the inputs.
    [[nodiscard]] State derivative(const State& x) const {
        State y = apply(a_, x);
        std::fill(y.begin() + (spares_ ? States : States - Spare), y.end(), 0.0);
        return y;
    }

  private:
    /// Column by column and only the rows of states: what the compiler turns into vector
    /// instructions.
    static constexpr std::size_t kRows = (States + 1) / 2 * 2; ///< padded to pairs
    using Columns = std::array<std::array<double, kRows>, kSize>;

    static Columns columns(const Matrix& m) {
        Columns out{};
        for (std::size_t r = 0; r < States; ++r) {
            for (std::size_t c = 0; c < kSize; ++c) {
                out[c][r] = m[r][c];
            }
        }
        return out;
    }

    template <bool Spares> static State apply_as(const Columns& m, const State& x) {
        constexpr std::size_t kUsed = Spares ? States : States - Spare;
        constexpr std::size_t kUsedRows = (kUsed + 1) / 2 * 2;
        State y = x;
        std::array<double, kUsedRows> sum{};
        const auto add = [&](std::size_t c) {
            for (std::size_t r = 0; r < kUsedRows; ++r) {
                sum[r] += m[c][r] * x[c];
            }
        };
        for (std::size_t c = 0; c < kUsed; ++c) {
            add(c);
        }
        for (std::size_t c = States; c < kSize; ++c) {
            add(c);
        }
        std::copy_n(sum.begin(), kUsed, y.begin());
        return y;
    }

    [[nodiscard]] State apply(const Columns& m, const State& x) const {
        if constexpr (Spare > 0) {
            if (!spares_) {
                return apply_as<false>(m, x);
            }
        }
        return apply_as<true>(m, x);
    }

    static Matrix product(const Matrix& a, const Matrix& b) {
        Matrix m{};
        for (std::size_t r = 0; r < kSize; ++r) {
            for (std::size_t c = 0; c < kSize; ++c) {
                for (std::size_t k = 0; k < kSize; ++k) {
                    m[r][c] += a[r][k] * b[k][c];
                }
            }
        }
        return m;
    }

    static Matrix exponential(const Matrix& a, double h) {
        double norm = 0;
        for (const State& row : a) {
            double sum = 0;
            for (double v : row) {
                sum += std::fabs(v) * h;
            }
            norm = std::max(norm, sum);
        }
        int halvings = 0;
        while (norm > 0.25) {
            norm /= 2;
            h /= 2;
            ++halvings;
        }
        Matrix sum{};
        Matrix term{};
        for (std::size_t r = 0; r < kSize; ++r) {
            sum[r][r] = term[r][r] = 1;
        }
        for (int n = 1; n <= 10; ++n) {
            term = product(term, a);
            for (std::size_t r = 0; r < kSize; ++r) {
                for (std::size_t c = 0; c < kSize; ++c) {
                    term[r][c] *= h / n;
                    sum[r][c] += term[r][c];
                }
            }
        }
        for (int k = 0; k < halvings; ++k) {
            sum = product(sum, sum);
        }
        return sum;
    }

    bool spares_ = true;
    Columns a_{};
    std::array<Columns, kLevels> table_{};
};

} // namespace yokedock::sim
