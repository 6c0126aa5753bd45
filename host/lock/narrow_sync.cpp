// SPDX-License-Identifier: MIT
#include "host/lock/stimulus.hpp"
#include "shared/sync/plan.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::lock {
namespace {

constexpr double kLeastPulseNs = sync::kMinPulseTicks * 1e9 / 16e6; // at the bench's clock

bool plain_vertical(const wire::SyncSettings& s) {
    return (s.flags & wire::kSyncPlainVertical) != 0;
}

bool line_rate_broad(const wire::SyncSettings& s) {
    return (s.flags & wire::kSyncLineRateSerrations) != 0;
}

double half_line_ns(const wire::SyncSettings& s) {
    return 0.5e9 * s.line_rate_denominator / s.line_rate_numerator;
}

// One broad pulse lasts a half line, or a whole one in pairs, less its serration.
double slot_ns(const wire::SyncSettings& s) {
    return line_rate_broad(s) ? 2 * half_line_ns(s) : half_line_ns(s);
}

double broad_slots(const wire::SyncSettings& s) {
    return line_rate_broad(s) ? s.broad_pulses / 2 : s.broad_pulses;
}

double gathered_ns(const wire::SyncSettings& s) {
    return plain_vertical(s) ? s.broad_pulses * half_line_ns(s) - s.line_sync_ns
                             : broad_slots(s) * (slot_ns(s) - s.serration_ns);
}

NarrowSync narrow_line(wire::SyncSettings s, double part) {
    const auto scaled = [&](std::uint32_t ns) {
        return static_cast<std::uint16_t>(std::lround(std::max(kLeastPulseNs, part * ns)));
    };
    s.line_sync_ns = scaled(s.line_sync_ns);
    if (s.pre_pulses != 0 || s.post_pulses != 0) {
        s.equalising_ns = scaled(s.equalising_ns);
    }
    return {s, 1e-9 * s.line_sync_ns};
}

NarrowSync narrow_field(wire::SyncSettings s, double part) {
    const double wanted_ns = part * gathered_ns(s);
    const bool pairs = plain_vertical(s) || line_rate_broad(s);
    const double widest_ns = slot_ns(s) - s.serration_ns;
    const double count = plain_vertical(s) ? (wanted_ns + s.line_sync_ns) / half_line_ns(s)
                                           : wanted_ns / widest_ns * (pairs ? 2 : 1);
    const double step = pairs ? 2 : 1;
    // Plain pulses have a length of whole lines, so the nearest; serrated ones are narrowed.
    const double steps =
        plain_vertical(s) ? std::round(count / step) : std::ceil(count / step - 1e-9);
    s.broad_pulses = static_cast<std::uint8_t>(
        std::clamp(steps * step, step, static_cast<double>(s.broad_pulses)));
    if (!plain_vertical(s)) {
        const double serration_ns = slot_ns(s) - wanted_ns / broad_slots(s);
        const double most_ns = std::floor(half_line_ns(s) / 2 / 62.5 - 1) * 62.5;
        s.serration_ns = static_cast<std::uint16_t>(
            std::lround(std::clamp(serration_ns, static_cast<double>(s.serration_ns), most_ns)));
    }
    return {s, 1e-9 * gathered_ns(s)};
}

} // namespace

NarrowSync narrow_sync(SweepAxis axis, const wire::SyncSettings& sync, double part) {
    assert(part > 0 && part <= 1);
    return axis == SweepAxis::kVertical ? narrow_field(sync, part) : narrow_line(sync, part);
}

double least_sync_part(SweepAxis axis, const wire::SyncSettings& sync) {
    return narrow_sync(axis, sync, 1e-3).pulse_s / narrow_sync(axis, sync, 1).pulse_s;
}

} // namespace yokedock::lock
