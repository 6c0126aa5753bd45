// SPDX-License-Identifier: MIT
#pragma once
#include <cstddef>

namespace yokedock::analysis {

/// Standard deviation of the mean error a quantiser of this step leaves when the signal carries
/// Gaussian noise of sd `noise` and many readings are averaged. step / sqrt(12) without noise, next
/// to nothing above half a step. (Fourier series of the quantiser's error; each term is damped by
/// exp(-2 pi^2 k^2 noise^2 / step^2).)
[[nodiscard]] double quantised_mean_u(double step, double noise);

/// The quantiser's mean error as a function of its input x is the sum over k = 1 .. kHarmonics of
/// amplitude(k) * sin(2 pi k x / step), sign apart; this is amplitude(k). step above 0.
[[nodiscard]] double quantised_mean_amplitude(double step, double noise, int k);
inline constexpr int kQuantiserHarmonics = 12; ///< the rest is under 3 % of the sd without noise

/// The noise that was there before the quantiser added its own: sqrt(max(0, observed^2 - step^2 /
/// 12)).
[[nodiscard]] double noise_before_quantiser(double step, double observed_sd);

/// Standard uncertainty that quantisation in steps adds to a slope per index fitted over `count`
/// equidistant readings with increment `increment`: readings that move through the steps slowly
/// have errors that hang together, so the white-noise formula would promise too much.
[[nodiscard]] double quantised_slope_u(double step, double noise, double increment,
                                       std::size_t count);

/// The same for the mean place of the line through the readings, without help from noise: step /
/// sqrt(12) when all fall at one place in a step, far less when they move through the steps.
[[nodiscard]] double quantised_place_u(double step, double increment, std::size_t count);

} // namespace yokedock::analysis
