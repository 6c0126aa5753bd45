// SPDX-License-Identifier: MIT
// Where a good oscillator's free run lies when nobody has measured a good board, and how far good
// boards of one type differ. One table for the diagnosis (evidence.cpp) and for what is learned
// from one board's lock sweep (profile_learn.cpp).
#pragma once

namespace yokedock::record {

/// A triggered field oscillator must be slower than its sync. Common practice, no source.
constexpr double kFieldFreeBelow = 0.06;

/// Half bands, relative. Timing parts alone (resistor 5 %, capacitor 10 %) spread by
/// sqrt(5^2 + 10^2) = 11 %; the hold control takes that out and is left anywhere that holds well.
/// So good boards lie within most of the catching range: field 56 to 64 Hz (AN5192K data sheet),
/// +-7 %; line +-500 Hz (the same), +-3 %.
constexpr double kFieldFreeTolerance = 0.06;
constexpr double kLineFreeTolerance = 0.02;

/// How far a hold range's width differs between good boards, relative, half band: it is a ratio of
/// three resistors of 5 % times one level (sync or retrace pulse) of 10 %:
/// sqrt(3 5^2 + 10^2) = 13 %.
constexpr double kHoldTolerance = 0.13;
/// Of the pull-in share, in percent of the hold range: it goes with the root of gain and filter, and
/// the phase in which sync comes back decides some percent (common practice, no source).
constexpr double kPullInShareTolerance = 12;

} // namespace yokedock::record
