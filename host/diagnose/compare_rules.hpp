// SPDX-License-Identifier: MIT
// What each figure is worth in a comparison: who it speaks of, what it is needed for, and how much
// of a difference matters when nobody said. One table. Pure.
#pragma once
#include "host/analysis/figure.hpp"
#include <string>

namespace yokedock::diagnose {

enum class Axis { kVertical, kHorizontal, kBoard };

/// What must be known before an axis is called the same. kNone: judged where it was measured, but
/// not waited for.
enum class Item { kNone, kLock, kRate, kSize, kCentring, kLinearity, kRetrace, kShape };

struct FigureRule {
    enum class Way {
        kMeasured, ///< by difference, uncertainty and tolerance
        kYesOrNo,  ///< 1 or 0: other is other
        kCount,    ///< events; their uncertainty is the root of their number (Poisson)
        kShown,    ///< of bench, mains or room: shown, not judged
    };
    Way way = Way::kMeasured;
    Axis axis = Axis::kBoard;
    Item item = Item::kNone;
    bool needs_window = false; ///< read in the visible window: no use where windows differ
    double share = 0;          ///< default tolerance: share of the reference's value ...
    double share_of_size = 0;  ///< ... or of its current p-p in the window ...
    double least = 0;          ///< ... and at least this, in the figure's unit
    double boards_share = 1;   ///< standard deviation between good boards of a type, as far as is
                               ///< known before any is seen: share of the default tolerance
};

[[nodiscard]] FigureRule rule_of(const std::string& figure_name);

/// In the figure's unit. reference: the figure in the reference; size: its p-p current, NaN where
/// it is not known (then figures that depend on it get NaN: no tolerance).
[[nodiscard]] double default_tolerance(const FigureRule& rule, double reference, double size);

/// Of shape: largest distance between the ramps after size and centring were taken off, % of p-p.
inline constexpr double kShapeTolerancePct = 0.5;

[[nodiscard]] const char* word_of(Item item);
[[nodiscard]] const char* word_of(Axis axis);

} // namespace yokedock::diagnose
