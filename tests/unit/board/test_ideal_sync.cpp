// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/lock_truth.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

wire::SyncAchieved plan_of(const wire::SyncSettings& settings) {
    const auto plan = sync::make_plan(settings, 16000000);
    REQUIRE(plan.ok);
    return plan.achieved;
}

/// Takes edges up to and including the next field start.
SyncEdge next_field(IdealSync& sync) {
    for (;;) {
        const SyncEdge e = sync.take();
        if (e.field_start) {
            return e;
        }
    }
}

} // namespace

TEST_CASE("A new plan begins with the next field and lines go on without a jump") {
    const wire::SyncSettings& settings = *find_standard("525/59.94");
    const wire::SyncSettings other = settings_at(settings, LockAxis::kLine, 15800);
    // 525 half lines: every other field begins in mid-line, so both cases come up.
    for (int fields_before : {1, 2}) {
        IdealSync sync(plan_of(settings), 16e6);
        SyncEdge field = next_field(sync);
        for (int k = 0; k < fields_before; ++k) {
            field = next_field(sync);
        }
        const double old_line_s = 1 / sync.line_rate_hz();
        sync.change_plan(plan_of(other));
        CHECK(sync.change_pending());
        double last_line_s = NAN;
        double old_lines = 0;
        SyncEdge e = sync.take();
        for (; !e.field_start; e = sync.take()) {
            if (e.line_start) {
                last_line_s = e.time_s;
                ++old_lines;
            }
        }
        CHECK_FALSE(sync.change_pending());
        CHECK(sync.line_rate_hz() == Approx(15800).epsilon(1e-7));
        CHECK(e.time_s - field.time_s == Approx(0.5 * 525 * old_line_s).margin(1.5 / 16e6));
        const double new_line_s = 1 / sync.line_rate_hz();
        const double expected_s = e.line_start ? last_line_s + old_line_s
                                               : last_line_s + 0.5 * old_line_s + 0.5 * new_line_s;
        const bool starts_line = e.line_start;
        while (!starts_line && !e.line_start) {
            e = sync.take();
        }
        CHECK(e.time_s == Approx(expected_s).margin(1.5 / 16e6)); // whole ticks
    }
}

TEST_CASE("Output off leaves field starts alone, and comes back with a field") {
    const wire::SyncSettings& settings = *find_standard("525/59.94");
    IdealSync sync(plan_of(settings), 16e6);
    double last = next_field(sync).time_s;
    sync.set_output(false);
    bool level = true;
    for (;;) { // the rest of this field is still sent, its last pulse to the end
        const SyncEdge e = sync.take();
        if (e.field_start) {
            CHECK_FALSE(e.tip);
            last = e.time_s;
            break;
        }
        level = e.tip;
    }
    CHECK_FALSE(level);
    const double field_s = 1 / sync.field_rate_hz();
    for (int k = 0; k < 3; ++k) {
        const SyncEdge e = sync.take();
        CHECK(e.field_start);
        CHECK_FALSE(e.tip);
        CHECK(e.time_s - last == Approx(field_s).margin(1.5 / 16e6));
        last = e.time_s;
    }
    sync.set_output(true);
    SyncEdge e = sync.take();
    CHECK(e.field_start); // had been looked at already
    CHECK_FALSE(e.tip);
    e = sync.take();
    CHECK(e.field_start);
    CHECK(e.tip);
    CHECK_FALSE(sync.take().tip);
}

TEST_CASE("Settings for a rate keep the other axis as near as half lines allow") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncSettings& nominal = standard.settings;
        const double line_hz = rate_of(nominal, LockAxis::kLine);
        const double field_hz = rate_of(nominal, LockAxis::kField);
        const bool whole_lines =
            (nominal.flags & (wire::kSyncPlainVertical | wire::kSyncLineRateSerrations)) != 0;
        const double step = whole_lines ? 2 : 1;
        CAPTURE(standard.name);
        for (const double factor : {0.9, 0.98, 0.9993, 1.0, 1.0007, 1.03, 1.1}) {
            const wire::SyncSettings v = settings_at(nominal, LockAxis::kField, factor * field_hz);
            REQUIRE(sync::make_plan(v, 16000000).ok);
            // Line rates come in 1/20000 Hz: 2e-9 of the field rate.
            CHECK(rate_of(v, LockAxis::kField) == Approx(factor * field_hz).epsilon(1e-8));
            CHECK(std::fabs(rate_of(v, LockAxis::kLine) / line_hz - 1) <=
                  0.51 * step / v.half_lines);
            const wire::SyncSettings h = settings_at(nominal, LockAxis::kLine, factor * line_hz);
            REQUIRE(sync::make_plan(h, 16000000).ok);
            CHECK(rate_of(h, LockAxis::kLine) == Approx(factor * line_hz).epsilon(1e-8));
            CHECK(std::fabs(rate_of(h, LockAxis::kField) / field_hz - 1) <=
                  0.51 * step / h.half_lines);
        }
    }
}
