// SPDX-License-Identifier: MIT
#pragma GCC diagnostic ignored                                                                     \
    "-Wvolatile" // the firmware is C++14, where counting volatiles is fine
#include "firmware/core/requests.hpp"
#include "firmware/core/sampler.hpp"
#include "firmware/core/schedule_watch.hpp"
#include "host/bench/power_limits.hpp"
#include "host/capture/schedules.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <numeric>
#include <set>

using namespace yokedock;
using namespace yokedock::capture;

namespace {

constexpr std::uint32_t kClockHz = 16000000;

const CapturePhase& phase_named(const std::vector<CapturePhase>& phases,
                                const std::string& purpose) {
    return *std::find_if(phases.begin(), phases.end(),
                         [&](const CapturePhase& p) { return p.purpose == purpose; });
}

wire::SyncAchieved plan_of(const sync::Standard& standard) {
    return sync::make_plan(standard.settings, kClockHz).achieved;
}

} // namespace

TEST_CASE(
    "the firmware takes every phase's settings at every standard, and they fit the time budget") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncAchieved plan = plan_of(standard);
        const auto phases = measurement_phases(plan, {});
        for (const CapturePhase& phase : phases) {
            INFO(standard.name << " " << phase.purpose);
            CHECK(firmware::check_capture(phase.settings,
                                          static_cast<std::uint16_t>(2 * plan.half_line_ticks)) ==
                  firmware::kAllGood);
        }
        // What is left of 6 s must do for the way between the captures.
        CHECK(total_seconds(phases) <= kMaxBenchSeconds - 1.0);
    }
}

TEST_CASE("horizontal places cover every tick of the line, each once, over the four captures") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncAchieved plan = plan_of(standard);
        std::set<unsigned> places;
        for (const CapturePhase& phase : measurement_phases(plan, {})) {
            if (phase.purpose == "horizontal") {
                for (const wire::ScheduleEntry& entry : phase.settings.schedule) {
                    for (unsigned n = 0; n < entry.places; ++n) {
                        CHECK(places.insert(entry.first_place + n * entry.step).second);
                    }
                }
            }
        }
        CHECK(places.size() == 2u * plan.half_line_ticks);
        CHECK(*places.begin() == 0);
        CHECK(*places.rbegin() == 2u * plan.half_line_ticks - 1);
    }
}

TEST_CASE("horizontal triggers never come faster than a conversion and its handler, so no line is "
          "skipped") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncAchieved plan = plan_of(standard);
        const auto settings = phase_named(measurement_phases(plan, {}), "horizontal").settings;
        const long line = 2 * plan.half_line_ticks;
        const long least =
            firmware::conversion_ticks(settings.adc_prescale_log2) + firmware::kResultLatencyTicks;
        std::uint32_t uses[wire::kMaxSchedule] = {};
        long before = -line;
        for (long n = 0; n < 1000; ++n) {
            const auto which = static_cast<std::size_t>(n % settings.entries);
            const wire::ScheduleEntry& entry = settings.schedule[which];
            const long time =
                n * line + entry.first_place + entry.step * (uses[which]++ % entry.places);
            REQUIRE(time - before >= least);
            before = time;
        }
    }
}

TEST_CASE("over some frames every line is sampled on v_yoke_a and on v_out_v") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncAchieved plan = plan_of(standard);
        const auto settings = phase_named(measurement_phases(plan, {}), "vertical").settings;
        const unsigned frame =
            plan.half_lines % 2 != 0 ? plan.half_lines : static_cast<unsigned>(plan.half_lines / 2);
        std::set<unsigned> yoke;
        std::set<unsigned> output;
        const unsigned lines = static_cast<unsigned>(1.25 * 15000);
        for (unsigned n = 0; n < lines; ++n) {
            const std::uint8_t channel = settings.schedule[n % settings.entries].channel;
            if (channel == static_cast<std::uint8_t>(ChannelId::v_yoke_a)) {
                yoke.insert(n % frame);
            } else if (channel == static_cast<std::uint8_t>(ChannelId::v_out_v)) {
                output.insert(n % frame);
            }
        }
        INFO(standard.name);
        CHECK(yoke.size() == frame);
        CHECK(output.size() == frame);
    }
}

// ---- while the bench guards the supply

namespace {

/// Every limit there can be.
wire::GuardLimits all_limits() {
    bench::PowerLimits l;
    l.supply_min_v = 21.5;
    l.supply_max_v = 26.5;
    l.supply_max_a = 1.0;
    l.soft_start_ms = 500;
    l.soft_start_min_v = 10;
    l.supply_idle_max_a = 0.8;
    l.v_out_min_v = -1.5;
    l.v_out_max_v = 56;
    l.h_peak_max_v = 250;
    l.heatsink_max_c = 95;
    l.v_retrace_missing_ms = 50;
    l.h_retrace_missing_ms = 1;
    l.v_yoke_least_pp_a = 0.08;
    l.h_yoke_least_pp_a = 0.4;
    return bench::plan_guard(l).value().codes;
}

/// The standards, and plans by hand from 15.6 to 18 kHz with fields of many lengths.
std::vector<wire::SyncAchieved> many_plans() {
    std::vector<wire::SyncAchieved> plans;
    for (const sync::Standard& standard : sync::kStandards) {
        plans.push_back(plan_of(standard));
    }
    for (std::uint32_t hz = 15600; hz <= 18000; hz += 60) {
        wire::SyncSettings settings = sync::kStandards[3].settings;
        settings.line_rate_numerator = hz;
        settings.half_lines = static_cast<std::uint16_t>(480 + 2 * (hz / 60 % 97));
        const sync::PlanResult plan = sync::make_plan(settings, kClockHz);
        REQUIRE(plan.ok);
        plans.push_back(plan.achieved);
    }
    return plans;
}

void check_taken(const wire::CaptureSettings& settings, const wire::SyncAchieved& plan) {
    const auto line = static_cast<std::uint16_t>(2 * plan.half_line_ticks);
    CHECK(firmware::check_capture(settings, line) == firmware::kAllGood);
    CHECK(firmware::told_often_enough(settings, line, false));
    CHECK(firmware::watches_enough(settings, all_limits(), line, false, kClockHz));
}

} // namespace

TEST_CASE("the firmware takes every guarded phase with every limit set, from 15.6 to 18 kHz") {
    for (const wire::SyncAchieved& plan : many_plans()) {
        const auto phases = measurement_phases(plan, kGuardedSeconds, Guarding::kWatched);
        REQUIRE(phases.size() == measurement_phases(plan, {}).size());
        for (const CapturePhase& phase : phases) {
            INFO(phase.purpose << ", half line " << plan.half_line_ticks << ", half lines "
                               << plan.half_lines);
            check_taken(phase.settings, plan);
        }
        check_taken(all_channels(plan, 0.05).settings, plan);
        wire::CaptureSettings edges;
        edges.line_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kRising);
        add_quiet_guard(edges, plan);
        check_taken(edges, plan);
        CHECK(total_seconds(phases) <= kMaxBenchSeconds - 1.0);
    }
}

TEST_CASE("without a guard the firmware refuses the same phases: the test above can fail") {
    const wire::SyncAchieved plan = plan_of(sync::kStandards[0]);
    for (const CapturePhase& phase : measurement_phases(plan, {})) {
        INFO(phase.purpose);
        CHECK_FALSE(firmware::watches_enough(phase.settings, all_limits(),
                                             static_cast<std::uint16_t>(2 * plan.half_line_ticks),
                                             false, kClockHz));
    }
}

TEST_CASE("guarded schedules still see every line of a frame on the vertical channels, and every "
          "tick of the line on the horizontal one") {
    for (const sync::Standard& standard : sync::kStandards) {
        const wire::SyncAchieved plan = plan_of(standard);
        const auto phases = measurement_phases(plan, kGuardedSeconds, Guarding::kWatched);
        const auto settings = phase_named(phases, "vertical").settings;
        const unsigned frame =
            plan.half_lines % 2 != 0 ? plan.half_lines : static_cast<unsigned>(plan.half_lines / 2);
        INFO(standard.name);
        CHECK(std::gcd(frame, static_cast<unsigned>(settings.entries)) == 1);
        std::set<unsigned> places;
        for (const CapturePhase& phase : phases) {
            for (unsigned i = 0; phase.purpose == "horizontal" && i < phase.settings.entries; ++i) {
                const wire::ScheduleEntry& entry = phase.settings.schedule[i];
                for (unsigned n = 0;
                     entry.channel == static_cast<std::uint8_t>(ChannelId::h_yoke_a) &&
                     n < entry.places;
                     ++n) {
                    CHECK(places.insert(entry.first_place + n * entry.step).second);
                }
            }
        }
        CHECK(places.size() == 2u * plan.half_line_ticks);
    }
}
