// SPDX-License-Identifier: MIT
// The bench's analogue front end between board and converter: scales of the channel table with this
// bench's own errors, input lag, peak detector, thermistor, noise, 10 bits.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include "demo/virtual_bench/board/random.hpp"
#include "shared/channels.hpp"
#include <array>
#include <cmath>

namespace yokedock::sim {

/// What calibration would find: the true scale of one input of one bench.
struct InputError {
    double gain = 1;   ///< factor on the table's gain
    double zero_v = 0; ///< added at the input
};

class FrontEnd {
  public:
    explicit FrontEnd(const BoardParameters& p);

    /// Relative error of the bench's clock: bench time = true time * (1 + error).
    [[nodiscard]] double clock_error() const { return clock_error_; }
    [[nodiscard]] const InputError& input_error(ChannelId channel) const;
    [[nodiscard]] double lag_s(ChannelId channel) const;

    /// One-pole lag: quantity(t) seen through it at time_s. Past values are asked for, back to 8
    /// lags. parts: straight lines so many to a lag; one follows what bends little within a lag, a
    /// load step of about its length needs more.
    template <class Quantity>
    [[nodiscard]] double lagged(ChannelId channel, double time_s, Quantity quantity,
                                int parts = 1) const {
        const double lag = lag_s(channel);
        if (lag <= 0) {
            return quantity(time_s);
        }
        // Straight lines between points h lags apart; e^-u integrates exactly over each. What is
        // older than 8 lags (0.03 %) is taken as the oldest point, so a constant and a straight
        // ramp come out exact.
        const double h = 1.0 / parts;
        const double per_part = parts == 1 ? kPerLag : std::exp(-h);
        const double newer_part = 1 - (1 - per_part) / h; // integral of (1 - u / h) e^-u, 0 to h
        const double older_part = (1 - per_part) / h - per_part; // integral of u / h e^-u, 0 to h
        double sum = 0;
        double weight = 1; // e^-k h
        double newer = quantity(time_s);
        for (int k = 0; k < kLags * parts; ++k) {
            const double older = quantity(time_s - (k + 1) * h * lag);
            sum += weight * (newer * newer_part + older * older_part);
            weight *= per_part;
            newer = older;
        }
        return sum + weight * newer;
    }

    /// A line retrace peak arrives at the peak detector.
    void see_peak(double time_s, double volts);
    [[nodiscard]] double peak_v(double time_s) const;

    /// Volts at the converter's input, noiseless.
    [[nodiscard]] double input_v(ChannelId channel, double quantity) const;
    /// Converter code with noise: 1024 * volts / reference to the nearest code, 0 to 1023.
    [[nodiscard]] int code(ChannelId channel, double quantity);

  private:
    static constexpr int kLags = 8;
    static constexpr double kPerLag = 0.36787944117144233; // 1/e

    BoardParameters p_;
    std::array<InputError, kChannelCount> errors_;
    double clock_error_ = 0;
    Random noise_;
    double peak_time_s_ = 0;
    double peak_v_ = 0;
};

} // namespace yokedock::sim
