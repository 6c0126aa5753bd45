// SPDX-License-Identifier: MIT
#pragma GCC diagnostic ignored                                                                     \
    "-Wvolatile" // the firmware is C++14, where counting volatiles is fine
#include "firmware/core/requests.hpp"
#include "firmware/core/sampler.hpp"
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
