// SPDX-License-Identifier: MIT
// Which delays are sampled: windows, limits, how evenly they are filled, what dies in between.
#include "tests/unit/analysis/load_bench.hpp"
#include <catch2/catch.hpp>

using namespace load_bench;
using Catch::Contains;

namespace {

struct Planned {
    LoadStep first;
    StepSamples looked;
    StepPlan plan;
};

Planned planned(const Bench& b, const Load& load, std::mt19937& random) {
    Planned p;
    p.looked = run(b, load, draw_truth(b, random), plan_first_look(b.drive, b.limits), random, 400);
    p.first = measure_load_step(p.looked, b.drive);
    p.plan = plan_load_step(p.first, p.looked, b.drive, b.limits);
    return p;
}

void check_limits(const StepPlan& plan, const StepLimits& limits) {
    const auto within = [&](std::uint32_t ticks) {
        return ticks * limits.tick_s >= limits.least_s * (1 - 1e-9) &&
               ticks * limits.tick_s <= limits.most_s * (1 + 1e-9);
    };
    CHECK(within(plan.on_ticks));
    CHECK(within(plan.off_ticks));
    CHECK(plan.periods > 0);
    CHECK(plan.periods * (double(plan.on_ticks) + plan.off_ticks) * limits.tick_s <=
          limits.most_total_s);
}

} // namespace

TEST_CASE("the precise look covers the rise of any load, within what the bench can do") {
    std::mt19937 random(51);
    for (int k = 0; k < 60; ++k) {
        const Bench b = bench(k % 2 == 1);
        const Load load{log_uniform(0.2, 60, random), log_uniform(0.05e-3, 40e-3, random)};
        const Planned p = planned(b, load, random);
        const double tau = load.henry / (load.ohm + b.drive.source_ohm);
        CAPTURE(load.ohm, load.henry, tau, p.plan.window_s, p.plan.periods);
        check_limits(plan_first_look(b.drive, b.limits), b.limits);
        check_limits(p.plan, b.limits);
        CHECK(p.plan.window_s >= 5 * (tau + b.claims.lag_s));
        CHECK(p.plan.to_s >= p.plan.window_s);
        // Not so wide that the rise is a speck of it; a first look that cannot resolve the rise
        // (8 us between its delays) may leave the window as wide as a few of those.
        CHECK(p.plan.window_s <= std::max(14 * (tau + b.claims.lag_s), 80e-6));
        const auto list = delays(p.plan, b.limits, random);
        const auto inside = std::count_if(list.begin(), list.end(),
                                          [&](double t) { return t > 0 && t <= p.plan.window_s; });
        CHECK(double(inside) == Approx(double(p.plan.samples)).epsilon(0.1).margin(5));
        CHECK(inside >= 150); // 1 us of window for every 4 ms of a run of 10 s
    }
}

TEST_CASE("delays fill the window evenly, tick by tick where there are enough periods") {
    std::mt19937 random(52);
    const Bench b = bench(true);
    const Planned p = planned(b, {2, 0.1e-3}, random); // 8 us
    auto list = delays(p.plan, b.limits, random);
    list.erase(std::remove_if(list.begin(), list.end(),
                              [&](double t) { return t <= 0 || t > p.plan.window_s; }),
               list.end());
    std::sort(list.begin(), list.end());
    double widest = list.front();
    for (std::size_t i = 1; i < list.size(); ++i) {
        widest = std::max(widest, list[i] - list[i - 1]);
    }
    // n points by the golden section: no gap above 2.62 times the mean one (three-gap theorem).
    CHECK(p.plan.periods > 1016);
    CHECK(widest <= 3 * p.plan.spacing_s + b.limits.tick_s);
}

TEST_CASE("between steps the current dies, or the plan says that it does not") {
    std::mt19937 random(53);
    int left = 0;
    for (int k = 0; k < 60; ++k) {
        const Bench b = bench(false);
        const Load load =
            k < 2 ? Load{0.2 + 0.2 * k, 40e-3} // these do not die in 0.1 s
                  : Load{log_uniform(0.2, 60, random), log_uniform(0.05e-3, 40e-3, random)};
        const Planned p = planned(b, load, random);
        Truth truth = draw_truth(b, random);
        truth.diode_v = b.limits.freewheel_v;
        CAPTURE(load.ohm, load.henry);
        if (p.plan.starts_from_zero) {
            CHECK(left_over(load, truth, p.plan, b.limits) == 0);
            // And from from_s on there is none: the off time less that is enough, too.
            StepPlan shorter = p.plan;
            shorter.off_ticks -=
                static_cast<std::uint32_t>(std::lround(-p.plan.from_s / b.limits.tick_s));
            CHECK(left_over(load, truth, shorter, b.limits) == 0);
        } else {
            ++left;
            CHECK(p.plan.skip_periods > 0);
            CHECK(p.plan.from_s == 0);
            REQUIRE_FALSE(p.plan.notes.empty());
        }
    }
    CHECK(left >= 2);
    CHECK(left < 20);
}

TEST_CASE("the precise look knows L better than the first, most of all where the rise is fast") {
    std::mt19937 random(54);
    for (const Load& load : {Load{1, 0.2e-3}, Load{50, 2e-3}, Load{11, 22e-3}}) {
        Bench b = bench(false);
        b.drive.volts_u = 0; // what both have in common
        b.claims.gain_u_relative = 0;
        const Truth truth = draw_truth(b, random);
        const Planned p = planned(b, load, random);
        const LoadStep step = measure_load_step(run(b, load, truth, p.plan, random, 4000), b.drive);
        CAPTURE(load.henry, total_u(p.first.inductance), total_u(step.inductance));
        CHECK(total_u(step.inductance) < total_u(p.first.inductance));
    }
}

TEST_CASE("limits are said: a small inductance with a large resistance on the slow channel") {
    std::mt19937 random(55);
    const Load load{60, 0.05e-3}; // 0.7 us
    const Bench slow = bench(false);
    const Bench fast = bench(true);
    const Planned at_slow = planned(slow, load, random);
    const Planned at_fast = planned(fast, load, random);
    // The first look sees only "below some us", so its figure for the limit is a lower one.
    const LoadStep measured_slow = measure_load_step(
        run(slow, load, draw_truth(slow, random), at_slow.plan, random), slow.drive);
    const LoadStep measured_fast = measure_load_step(
        run(fast, load, draw_truth(fast, random), at_fast.plan, random), fast.drive);
    CAPTURE(measured_slow.inductance.value, measured_slow.inductance.u,
            measured_fast.inductance.value, measured_fast.inductance.u);
    REQUIRE(measured_fast.inductance.status == FigureStatus::kMeasured);
    CHECK(std::abs(measured_fast.inductance.value - load.henry) <
          3 * total_u(measured_fast.inductance));
    CHECK(measured_fast.inductance.u < 0.1 * load.henry);
    const StepPlan again = plan_load_step(measured_slow, at_slow.looked, slow.drive, slow.limits);
    REQUIRE_FALSE(again.notes.empty());
    CHECK_THAT(again.notes[0], Contains("horizontal channel"));
    CHECK(again.inductance_u_relative > 0.05);
}

TEST_CASE("a first look that saw nothing is repeated, with the reason") {
    const Bench b = bench(false);
    LoadStep failed;
    failed.problem = "load step: 3 samples lie after the step, 12 are needed: sample longer";
    const StepPlan again = plan_load_step(failed, b.claims, b.drive);
    CHECK(again.on_ticks == plan_first_look(b.drive).on_ticks);
    REQUIRE_FALSE(again.notes.empty());
    CHECK_THAT(again.notes[0], Contains("3 samples"));
    LoadStep open;
    open.ok = true;
    open.no_current = true;
    CHECK_THAT(plan_load_step(open, b.claims, b.drive).notes.at(0), Contains("no current"));
}

TEST_CASE("a drive of little resistance cannot stay on long enough, and that is said") {
    std::mt19937 random(56);
    Bench b = bench(false);
    b.drive = {0.5, 0.001, 0.2, 0.002};
    const Planned p = planned(b, {0.2, 40e-3}, random); // 100 ms
    CHECK(p.plan.on_ticks * b.limits.tick_s == Approx(b.limits.most_s));
    bool said = false;
    for (const std::string& note : p.plan.notes) {
        said = said || note.find("cannot stay on") != std::string::npos;
    }
    CHECK(said);
}

TEST_CASE("thinning keeps the first samples of the rise, its end, and no more than asked for") {
    StepPlan plan;
    plan.from_s = -100e-6;
    plan.window_s = 1e-3;
    plan.to_s = 2e-3;
    StepSamples all;
    for (int i = -2000; i < 30000; ++i) {
        all.time_s.push_back((i + 0.5) * 100e-9);
        all.amps.push_back(i);
    }
    const StepSamples some = samples_for(plan, all, 400);
    int before = 0;
    int rise = 0;
    int after = 0;
    double last = 0;
    for (std::size_t i = 0; i < some.time_s.size(); ++i) {
        const double t = some.time_s[i];
        CHECK(some.amps[i] == std::round(t / 100e-9 - 0.5)); // still its own reading
        before += t <= 0 ? 1 : 0;
        rise += t > 0 && t <= plan.window_s ? 1 : 0;
        after += t > plan.window_s ? 1 : 0;
        last = std::max(last, t);
        CHECK(t > plan.from_s);
        CHECK(t <= plan.to_s);
    }
    CHECK(before <= 400);
    CHECK(before >= 250);
    CHECK(rise <= 400);
    CHECK(rise >= 350);
    CHECK(after <= 400);
    CHECK(after >= 300);
    for (int i = 0; i < 10; ++i) {
        const double t = (i + 0.5) * 100e-9;
        CHECK(std::any_of(some.time_s.begin(), some.time_s.end(),
                          [t](double x) { return std::abs(x - t) < 1e-12; }));
    }
    CHECK(last > 1.98e-3);
}
