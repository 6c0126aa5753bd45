// SPDX-License-Identifier: MIT
// Whole sweeps on boards whose limits are known from closed forms or from brute force on the same
// equations: judge and search together.
#include "shared/sync/standards.hpp"
#include "tests/unit/lock/mock_boards.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::lock;

namespace {

SweepSettings settings(SweepAxis axis) {
    return default_sweep(axis, sync::kStandards[0].settings, 16000000).value();
}

SweepSummary swept(const SweepSettings& s, std::unique_ptr<mock::Oscillator> board,
                   mock::Flaws flaws = {}) {
    SweepSearch search(s);
    mock::Bench bench(s, std::move(board), flaws);
    double done = 0;
    while (const auto step = search.next()) {
        search.add(bench.run(*step));
        CHECK(search.part_done() >= done);
        done = search.part_done();
        CHECK(search.seconds_left() >= 0);
        REQUIRE(step->number < 500);
    }
    CHECK(search.part_done() == 1);
    CHECK(search.seconds_left() == 0);
    return search.summary();
}

/// The limit lies between the last rate that locked and the first that did not.
void encloses(const Limit& limit, double truth_hz, double slack_hz) {
    INFO(limit.locked_hz << " locked, " << limit.lost_hz << " lost, truth " << truth_hz << ' '
                         << limit.reason);
    REQUIRE(limit.status == LimitStatus::kFound);
    CHECK(std::min(limit.locked_hz, limit.lost_hz) <= truth_hz + slack_hz);
    CHECK(std::max(limit.locked_hz, limit.lost_hz) >= truth_hz - slack_hz);
}

/// Turns gained or lost against sync in the last `seconds`.
double turns(mock::Loop& loop, double rate_hz, double& now_s, double seconds) {
    std::vector<double> edges;
    const long lines = std::lround(seconds * rate_hz);
    for (long i = 0; i < lines; ++i) {
        now_s += 1 / rate_hz;
        loop.until(now_s, true, static_cast<double>(i % mock::kLines) / mock::kLines, edges);
    }
    return static_cast<double>(edges.size()) - static_cast<double>(lines);
}

/// By brute force: half a hertz at a time until turns are lost.
double brute_hold(mock::Loop loop, double from_hz, double sign) {
    double now_s = 1;
    turns(loop, from_hz, now_s, 0.5);
    double rate = from_hz;
    while (std::abs(turns(loop, rate + sign * 0.5, now_s, 0.1)) <= 1) {
        rate += sign * 0.5;
    }
    return rate;
}

/// By brute force: found from free run within acquire_s, sync coming at this instant.
bool brute_pull_in(mock::Loop loop, double rate_hz, double begin_s, double acquire_s) {
    std::vector<double> edges;
    double now_s = begin_s;
    loop.until(now_s, false, 0, edges);
    turns(loop, rate_hz, now_s, acquire_s);
    return std::abs(turns(loop, rate_hz, now_s, 0.1)) <= 1;
}

mock::Loop line_loop(double push) {
    mock::Loop loop;
    loop.free_hz = 15712;
    loop.push = push;
    return loop;
}

} // namespace

TEST_CASE("a triggered oscillator's limits are those of its closed form, flaws or none") {
    // From its own rate to where sync comes before the window opens: f0 to f0 / window.
    const mock::Flaws flaws[] = {{}, {20e-6, 0, 0}, {5e-6, 0.02, 0.01}};
    for (const mock::Flaws& flaw : flaws) {
        const SweepSummary s = swept(settings(SweepAxis::kVertical),
                                     std::make_unique<mock::Triggered>(55.93, 0.835), flaw);
        REQUIRE(s.complete);
        CHECK(s.locks_at_nominal);
        CHECK(s.flags.empty());
        // Drift of up to kSteadyDrift in a dwell still counts as lock.
        const double slack = kSteadyDrift / (kSteadyPart * default_dwell_s(s.settings));
        encloses(s.hold_low, 55.93, slack);
        encloses(s.hold_high, 55.93 / 0.835, slack);
        CHECK(s.free_run_before->value == Approx(55.93).margin(3 * s.free_run_before->u + 1e-6));
        // The beat must bring sync into the window within the time allowed: a whole one at most.
        CHECK(s.pull_in_low.locked_hz >= s.hold_low.locked_hz - 1e-6);
        CHECK(s.pull_in_low.locked_hz <= 55.93 + 1 / s.settings.acquire_s + 0.1);
        encloses(s.pull_in_high, 55.93 / 0.835, slack);
        CHECK(s.pull_in_high.acquired_s >= 0);
    }
}

TEST_CASE("a line loop's hold range is its gain, and pull-in what brute force finds") {
    for (const mock::Flaws& flaw : {mock::Flaws{}, mock::Flaws{60e-9, 0.01, 0.003}}) {
        const mock::Loop loop = line_loop(0);
        const SweepSettings s = settings(SweepAxis::kHorizontal);
        const SweepSummary sum = swept(s, std::make_unique<mock::Loop>(loop), flaw);
        REQUIRE(sum.complete);
        CHECK(sum.flags.empty());
        // A step of 10 Hz swings the loop; 2 Hz is twice the step squared over its hold range.
        encloses(sum.hold_low, loop.free_hz - loop.hold_hz, 2);
        encloses(sum.hold_high, loop.free_hz + loop.hold_hz, 2);
        for (const Limit* limit : {&sum.pull_in_low, &sum.pull_in_high}) {
            int found = 0;
            int lost = 0;
            for (int k = 0; k < 40; ++k) {
                const double begin_s = 1 + 0.37e-6 * 4.1 * k;
                found += brute_pull_in(loop, limit->locked_hz, begin_s, s.acquire_s) ? 1 : 0;
                lost += brute_pull_in(loop, limit->lost_hz, begin_s, s.acquire_s) ? 0 : 1;
            }
            INFO(limit->locked_hz << ' ' << limit->lost_hz);
            CHECK(limit->status == LimitStatus::kFound);
            CHECK(found > 0); // it can be found at the one, and missed at the other
            CHECK(lost > 0);
        }
        CHECK(sum.return_low.status == LimitStatus::kFound);
        CHECK(sum.return_low.locked_hz >= sum.hold_low.locked_hz);
    }
}

TEST_CASE("the vertical interval's bend of a line loop neither ends lock nor hides its end") {
    for (const double push : {0.6, -0.9}) {
        const mock::Loop loop = line_loop(push);
        const SweepSummary sum = swept(settings(SweepAxis::kHorizontal),
                                       std::make_unique<mock::Loop>(loop), {60e-9, 0, 0});
        const double low = brute_hold(loop, 15734, -1);
        const double high = brute_hold(loop, 15734, 1);
        INFO("brute force " << low << ' ' << high);
        CHECK(high - low < 2 * loop.hold_hz); // the push does cost range
        CHECK(high - low > loop.hold_hz);
        encloses(sum.hold_low, low, 2.5);
        encloses(sum.hold_high, high, 2.5);
        CHECK(sum.flags.empty());
    }
}

TEST_CASE("boards that never lock are told apart: no sync, open AFC, half rate") {
    const auto first = [](const SweepSummary& s) {
        REQUIRE(s.complete);
        CHECK(s.hold_low.status == LimitStatus::kNone);
        return s.findings.at(0);
    };
    const SweepSettings v = settings(SweepAxis::kVertical);
    const SweepSettings h = settings(SweepAxis::kHorizontal);
    CHECK_THAT(first(swept(v, std::make_unique<mock::Triggered>(58.7, 2.0))),
               Catch::Contains("sync separator"));
    // Fires at every other sync: 59.94 / 2 lies between 29 and 29 / 0.83.
    const SweepSummary half = swept(v, std::make_unique<mock::Triggered>(29, 0.83));
    CHECK(half.nominal_state == BoardState::half_rate);
    CHECK_THAT(first(half), Catch::Contains("half the sync rate"));
    auto open = std::make_unique<mock::Loop>();
    open->hold_hz = 0;
    open->free_hz = 15790;
    CHECK_THAT(first(swept(h, std::move(open), {100e-9, 0, 0})), Catch::Contains("AFC is open"));
}

TEST_CASE("an oscillator without sync whose own rate is the set rate has no lock range") {
    auto open = std::make_unique<mock::Loop>();
    open->hold_hz = 0;
    open->free_hz = settings(SweepAxis::kHorizontal).nominal_hz;
    const SweepSummary s = swept(settings(SweepAxis::kHorizontal), std::move(open));
    CHECK(s.hold_low.locked_hz == s.hold_high.locked_hz);
    CHECK_THAT(s.findings.at(0), Catch::Contains("its own rate"));
}

TEST_CASE("a third of the sync rate is another ratio, and sync slower than free run no lock") {
    const SweepSettings v = settings(SweepAxis::kVertical);
    const auto state = [&](double free_hz, double window, double rate_hz) {
        mock::Bench bench(v, std::make_unique<mock::Triggered>(free_hz, window));
        bench.pass(rate_hz, 3);
        return bench.watch(rate_hz, 1.0, 0.2).state;
    };
    CHECK(state(19, 0.9, 59.94) == BoardState::other_ratio);
    CHECK(state(29, 0.83, 59.94) == BoardState::half_rate);
    for (const double below : {0.1, 0.3, 1.0, 5.0}) { // near-beat rates, too
        CHECK(state(60, 0.8, 60 - below) != BoardState::locked);
    }
}

TEST_CASE("no beat down to the resolution is taken for lock, however the edges jitter") {
    for (const SweepAxis axis : {SweepAxis::kVertical, SweepAxis::kHorizontal}) {
        const SweepSettings s = settings(axis);
        const double dwell = default_dwell_s(s);
        int undecided = 0;
        for (const double jitter : {0.0, 0.001, 0.005, 0.01, 0.02, 0.05}) { // of a period
            for (int k = 0; k < 12; ++k) {
                const double beat = s.resolution_hz * (1 + 0.4 * k) * (k % 2 == 0 ? 1 : -1);
                auto board = std::make_unique<mock::Loop>();
                board->hold_hz = 0;
                board->free_hz = s.nominal_hz + beat;
                mock::Bench bench(s, std::move(board), {jitter / s.nominal_hz, 0.01, 0.01});
                bench.pass(0, 0.01 * k / s.nominal_hz);
                const Verdict v = bench.watch(s.nominal_hz, dwell, 0.9 * dwell);
                INFO("beat " << beat << " jitter " << jitter << ' ' << v.reason);
                CHECK(v.state != BoardState::locked);
                undecided += v.state == BoardState::undecided ? 1 : 0;
            }
        }
        CHECK(undecided < 36); // most are plain
    }
}

TEST_CASE("a board that drifts as it warms up keeps its lock, and the drift is told") {
    class Warming : public mock::Loop {
      public:
        void until(double time_s, bool sync, double part, std::vector<double>& edges) override {
            free_hz = 15712 - 60 * (1 - std::exp(-(time_s - 1) / 15)); // as an RC oscillator does
            Loop::until(time_s, sync, part, edges);
        }
    };
    const SweepSummary s =
        swept(settings(SweepAxis::kHorizontal), std::make_unique<Warming>(), {60e-9, 0, 0});
    REQUIRE(s.complete);
    CHECK(s.locks_at_nominal);
    REQUIRE(s.flags.size() == 1);
    CHECK_THAT(s.flags[0], Catch::Contains("warm up"));
}

TEST_CASE("results of a real search, replayed to any cut, give the same step and summary") {
    const SweepSettings s = settings(SweepAxis::kHorizontal);
    SweepSearch whole(s);
    mock::Bench bench(s, std::make_unique<mock::Loop>(line_loop(0.6)), {60e-9, 0.01, 0.003});
    std::vector<StepResult> results;
    std::vector<SweepStep> steps;
    while (const auto step = whole.next()) {
        steps.push_back(*step);
        results.push_back(bench.run(*step));
        whole.add(results.back());
    }
    for (std::size_t cut = 0; cut < steps.size(); ++cut) {
        SweepSearch again(s);
        for (std::size_t i = 0; i < cut; ++i) {
            again.add(results[i]);
        }
        const SweepStep next = again.next().value();
        CHECK(next.number == steps[cut].number);
        CHECK(next.part == steps[cut].part);
        CHECK(next.approach == steps[cut].approach);
        CHECK(next.rate_hz == steps[cut].rate_hz);
        CHECK(next.from_hz == steps[cut].from_hz);
        CHECK(next.ramp_step_hz == steps[cut].ramp_step_hz);
        for (std::size_t i = cut; i < steps.size(); ++i) {
            again.add(results[i]);
        }
        CHECK(again.summary().findings == whole.summary().findings);
        CHECK(again.summary().hold_high.locked_hz == whole.summary().hold_high.locked_hz);
    }
}
