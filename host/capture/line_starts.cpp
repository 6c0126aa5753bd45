// SPDX-License-Identifier: MIT
#include "host/capture/line_starts.hpp"
#include "shared/sync/plan.hpp"
#include <algorithm>

namespace yokedock::capture {
namespace {

/// Ticks from the point `half_lines` earlier to a point where the accumulator is `accumulator`.
std::int64_t ticks_back(const wire::SyncAchieved& plan, std::uint32_t accumulator,
                        std::uint32_t half_lines) {
    const std::uint64_t denominator = plan.half_line_denominator;
    const std::uint64_t step =
        static_cast<std::uint64_t>(plan.half_line_numerator) * half_lines % denominator;
    auto earlier = static_cast<std::uint32_t>((accumulator + denominator - step) % denominator);
    return sync::slot_ticks(plan, earlier, half_lines);
}

} // namespace

std::vector<std::int64_t> line_starts(const RawCapture& capture) {
    std::vector<std::int64_t> lines;
    const RawFieldStarts& fields = capture.field_starts;
    const wire::SyncAchieved& plan = capture.plan;
    if (fields.ticks.empty() || plan.half_line_denominator == 0 || plan.half_line_ticks == 0) {
        return lines;
    }
    for (std::uint32_t back = fields.mid_line[0] ? 1 : 2;; back += 2) {
        const std::int64_t ticks = fields.ticks[0] - ticks_back(plan, fields.accumulator[0], back);
        if (ticks < capture.begin_ticks) {
            break;
        }
        lines.push_back(ticks);
    }
    std::reverse(lines.begin(), lines.end());
    for (std::size_t field = 0; field < fields.ticks.size(); ++field) {
        for (std::uint32_t at = fields.mid_line[field] ? 1 : 0; at < plan.half_lines; at += 2) {
            std::uint32_t accumulator = fields.accumulator[field];
            const std::int64_t ticks =
                fields.ticks[field] + sync::slot_ticks(plan, accumulator, at);
            if (ticks > capture.end_ticks) {
                break;
            }
            lines.push_back(ticks);
        }
    }
    return lines;
}

} // namespace yokedock::capture
