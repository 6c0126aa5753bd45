// SPDX-License-Identifier: MIT
#include "host/analysis/phase.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kField = 1 / 59.94;
constexpr double kLine = kField / 262.5;
constexpr double kTick = 62.5e-9;

PeriodFit fit_of(const std::vector<double>& t, double tick = kTick,
                 const std::vector<capture::Interval>& unwatched = {}) {
    const auto fit = fit_period(t, tick, unwatched);
    REQUIRE(fit);
    return *fit;
}

// Edges with a phase (in periods) as a function of time.
template <class Phase>
std::vector<double> edges_with(Phase phase, double period, std::size_t n, double jitter,
                               unsigned seed = 1) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, jitter);
    std::vector<double> t;
    for (std::size_t i = 0; i < n; ++i) {
        const double start = period * static_cast<double>(i);
        const double x = start + period * phase(start) + (jitter > 0 ? normal(random) : 0);
        t.push_back(kTick * std::floor(x / kTick));
    }
    return t;
}

LockDecision decide(const std::vector<double>& edges, double period, std::size_t n,
                    const LockCriteria& criteria = {}) {
    const PeriodFit sync = fit_of(synthetic::times(0, period, n));
    return decide_lock(track_phase(sync, fit_of(edges)), criteria);
}

} // namespace

TEST_CASE("a steady phase is lock, wherever in the period it stands") {
    for (const double phase : {0.01, 0.3, 0.5, 0.97, 0.999}) {
        const LockDecision d =
            decide(edges_with([&](double) { return phase; }, kField, 120, 3e-6), kField, 121);
        INFO(d.text);
        CHECK(d.state == LockState::kLocked);
        CHECK(std::abs(d.phase - phase) < 4 * d.phase_u + kTick / kField);
        CHECK(d.slips == 0);
    }
}

TEST_CASE("a phase that runs through is not lock, and its slips are counted") {
    // 1 Hz fast over 2 s: the edge comes 2 periods earlier at the end.
    std::vector<double> t = synthetic::times(0.001, 1 / 60.94, 121);
    const LockDecision d = decide(t, kField, 121);
    CHECK(d.state == LockState::kUnlocked);
    CHECK(d.phase_span > 1.8);
}

TEST_CASE("near-lock beating, that lingers and slips, is not lock") {
    // Just outside the pull-in range: the phase creeps for most of the beat, then slips a whole
    // turn.
    const double beat = 0.9;
    const auto phase = [&](double t) {
        const double turns = t / beat;
        return 0.3 + std::floor(turns) + std::pow(turns - std::floor(turns), 8.0);
    };
    const LockDecision d = decide(edges_with(phase, kField, 120, 2e-6), kField, 125);
    INFO(d.text);
    CHECK(d.state == LockState::kUnlocked);
}

TEST_CASE("a beat too slow to slip within the dwell still shows as drift") {
    const auto phase = [](double t) { return 0.3 + 0.03 * t; }; // a turn in 33 s, dwell 2 s
    const LockDecision d = decide(edges_with(phase, kField, 120, 2e-6), kField, 121);
    CHECK(d.state == LockState::kUnlocked);
    CHECK(d.drift == Approx(0.06).epsilon(0.02));
    CHECK(d.text.find("drifts") != std::string::npos);
}

TEST_CASE("half rate and double rate are told apart from lock") {
    CHECK(decide(synthetic::times(1e-3, 2 * kField, 60), kField, 121).text.find("1:2") !=
          std::string::npos);
    const LockDecision twice = decide(synthetic::times(1e-3, kField / 2, 240), kField, 121);
    CHECK(twice.state == LockState::kOtherRatio);
    CHECK(twice.text.find("2:1") != std::string::npos);
    CHECK(decide(synthetic::times(1e-3, 3 * kField, 40), kField, 121).text.find("1:3") !=
          std::string::npos);
}

TEST_CASE("missing retrace edges do not break lock, too few decide nothing") {
    auto t = edges_with([](double) { return 0.2; }, kField, 120, 2e-6);
    t.erase(t.begin() + 40, t.begin() + 43);
    t.erase(t.begin() + 90);
    CHECK(decide(t, kField, 121).state == LockState::kLocked);
    t.resize(6);
    CHECK(decide(t, kField, 121).state == LockState::kUndecided);
}

TEST_CASE("lock is seen across two captures with time between them") {
    auto sync = synthetic::times(0, kLine, 1000);
    const auto later = synthetic::times(3.0 + 7e-6, kLine, 1000);
    sync.insert(sync.end(), later.begin(), later.end());
    std::vector<double> edges;
    for (const double s : sync) {
        edges.push_back(s +
                        0.9995 * kLine); // so near the next sync that runs may start on either side
    }
    const std::vector<capture::Interval> gap = {{sync[999] + 2 * kLine, 3.0}};
    const LockDecision d =
        decide_lock(track_phase(fit_of(sync, kTick, gap), fit_of(edges, kTick, gap)));
    INFO(d.text);
    CHECK(d.state == LockState::kLocked);
    CHECK(d.phase == Approx(0.9995).margin(1e-3));
}

TEST_CASE("jitter: rms, peak and change from edge to edge, the ticks taken off") {
    std::mt19937 random(5);
    const double sd = 60e-9;
    const auto t = edges_with([](double) { return 0.1; }, kLine, 20000, sd, 7);
    const PeriodFit fit = fit_of(t);
    const Jitter j = jitter_of(fit.residual_s, fit.edges, kTick);
    // rms of 20000 readings is good to 1 / sqrt(40000) = 0.5 %; ticks of 62.5 ns add 18 ns, taken
    // off.
    CHECK(j.rms_s == Approx(sd).epsilon(0.02));
    CHECK(std::abs(j.rms_s - sd) < 3 * j.rms_u_s);
    CHECK(j.successive_s == Approx(sd * std::sqrt(2.0)).epsilon(0.02));
    // The largest of 20000 Gaussian readings lies between 3.5 and 5.5 sd, half a tick more with the
    // steps.
    CHECK(j.peak_s > 3.5 * sd);
    CHECK(j.peak_s < 5.5 * sd + kTick);
}

TEST_CASE("jitter below the ticks is not claimed to be known") {
    const PeriodFit fit = fit_of(edges_with([](double) { return 0.1; }, kLine, 2000, 0));
    const Jitter j = jitter_of(fit.residual_s, fit.edges, kTick);
    CHECK(j.rms_s < 10e-9);
    CHECK(j.rms_u_s > 5e-9);
}

TEST_CASE("interlace: half a line between the fields is seen, and pairing too") {
    for (const double pairing : {0.0, 0.3}) {
        const std::size_t n = 60;
        const auto starts = synthetic::times(0, kField, n);
        std::vector<bool> mid;
        std::vector<double> edges;
        std::mt19937 random(3);
        std::normal_distribution<double> normal(0, 1e-6);
        for (std::size_t i = 0; i < n; ++i) {
            mid.push_back(i % 2 == 1);
            edges.push_back(starts[i] + 150e-6 - (mid.back() ? pairing * kLine : 0) +
                            normal(random));
        }
        const PhaseTrack track = track_phase(fit_of(starts), fit_of(edges));
        const Interlace i = interlace_of(track, mid, kLine);
        REQUIRE(i.ok);
        CHECK(i.offset_lines == Approx(0.5 - pairing).margin(4 * i.u_lines));
        CHECK(i.u_lines < 0.01); // 1 us over 30 fields against 63.5 us
    }
}
