// SPDX-License-Identifier: MIT
#include "host/lock/stimulus.hpp"
#include "host/lock/sweep_search.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::lock;

namespace {

constexpr std::uint32_t kClock = 16000000;

/// Time at sync level in the broad pulses of a field, from the pulses themselves.
double gathered_s(const wire::SyncSettings& s) {
    const auto plan = sync::make_plan(s, kClock);
    REQUIRE(plan.ok);
    const auto program = sync::make_field_program(plan.achieved, false);
    double ticks = 0;
    for (int i = 0; i < program.count; ++i) {
        const sync::Segment& segment = program.segments[i];
        if (segment.pulse == sync::Pulse::kBroad || segment.pulse == sync::Pulse::kSolid) {
            ticks += static_cast<double>(segment.slots) * segment.ticks;
        }
    }
    return ticks / kClock;
}

} // namespace

TEST_CASE("sync of every standard can be narrowed on both axes, with the pulses that were said") {
    for (const sync::Standard& standard : sync::kStandards) {
        for (const SweepAxis axis : {SweepAxis::kVertical, SweepAxis::kHorizontal}) {
            const double least = least_sync_part(axis, standard.settings);
            INFO(standard.name);
            CHECK(least < 0.4);
            const double whole_s = narrow_sync(axis, standard.settings, 1).pulse_s;
            double last_s = whole_s * 1.0001;
            for (double part = 1; part > least; part -= 0.02) {
                const NarrowSync n = narrow_sync(axis, standard.settings, part);
                INFO(part << ' ' << n.pulse_s);
                REQUIRE(sync::make_plan(n.settings, kClock).ok);
                CHECK(n.settings.line_rate_numerator == standard.settings.line_rate_numerator);
                CHECK(n.settings.half_lines == standard.settings.half_lines);
                CHECK(n.pulse_s <= last_s + 1e-7); // never wider for less
                last_s = n.pulse_s;
                // In ticks of 62.5 ns: a slot of one or two half lines is up to two short, and the
                // gap half of one off.
                const double truth_s =
                    axis == SweepAxis::kVertical
                        ? gathered_s(n.settings)
                        : sync::make_plan(n.settings, kClock).achieved.line_sync_ticks / 16e6;
                CHECK(n.pulse_s == Approx(truth_s).margin(2.5 / kClock * n.settings.broad_pulses));
                if (axis == SweepAxis::kHorizontal) {
                    CHECK(n.pulse_s == Approx(part * whole_s).margin(1e-9));
                }
            }
        }
    }
}

TEST_CASE("how narrow sync may be is found to 2 % of its width") {
    for (const double needed : {0.23, 0.5, 0.77}) {
        for (const SweepAxis axis : {SweepAxis::kVertical, SweepAxis::kHorizontal}) {
            SweepSettings s = default_sweep(axis, sync::kStandards[0].settings, kClock).value();
            s.narrow_sync = true;
            SweepSearch search(s);
            while (const auto step = search.next()) {
                StepResult r;
                r.step = *step;
                r.board_hz = step->rate_hz > 0 ? step->rate_hz : 0.99 * s.nominal_hz;
                r.achieved_hz = step->rate_hz;
                const bool locks =
                    std::abs(step->rate_hz / s.nominal_hz - 1) < 0.04 && step->sync_part >= needed;
                r.state = step->rate_hz == 0 ? BoardState::free_running
                          : locks            ? BoardState::locked
                                             : BoardState::slipping;
                r.acquired_s = locks ? 0.1 : -1;
                search.add(r);
            }
            const SweepSummary sum = search.summary();
            REQUIRE(sum.complete);
            REQUIRE(sum.narrow_sync);
            const NarrowLimit& n = *sum.narrow_sync;
            CHECK(n.status == LimitStatus::kFound);
            CHECK(n.locked_part >= needed);
            CHECK(n.lost_part < needed);
            CHECK(n.locked_part - n.lost_part <= 0.02);
            CHECK(n.locked_s > n.lost_s);
            CHECK_THAT(sum.findings.back(), Catch::Contains("potentiometer"));
        }
    }
}
