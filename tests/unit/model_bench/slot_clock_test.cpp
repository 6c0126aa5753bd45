// SPDX-License-Identifier: MIT
// The slots against the ideal sync, which makes the same edges by code of its own.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/slot_clock.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::sim;

TEST_CASE("Slots start and end where the ideal sync has its edges, for every standard") {
    constexpr double kClockHz = 16e6;
    for (const sync::Standard& standard : sync::kStandards) {
        CAPTURE(standard.name);
        const sync::PlanResult plan = sync::make_plan(standard.settings, 16000000);
        REQUIRE(plan.ok);
        IdealSync ideal(plan.achieved, kClockHz);
        SlotClock clock(plan.achieved);
        std::int64_t end = 0;
        bool tip = false;
        for (int k = 0; k < 3000; ++k) { // more than two fields
            const Slot slot = clock.next();
            CHECK(slot.start_ticks == end);
            end = slot.start_ticks + slot.length_ticks;
            if (!tip) {
                const SyncEdge edge = ideal.take();
                CHECK(edge.tip);
                CHECK(edge.time_s == static_cast<double>(slot.start_ticks) / kClockHz);
                CHECK(edge.line_start == slot.starts_line);
                CHECK(edge.field_start == slot.starts_field);
                tip = true;
            }
            if (slot.pulse_ticks != 0) {
                const SyncEdge edge = ideal.take();
                CHECK_FALSE(edge.tip);
                CHECK(edge.time_s ==
                      static_cast<double>(slot.start_ticks + slot.pulse_ticks) / kClockHz);
                tip = false;
            }
        }
    }
}
