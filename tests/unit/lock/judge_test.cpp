// SPDX-License-Identifier: MIT
// Edges of known truth, written down from formulas.
#include "host/lock/judge.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace yokedock;
using namespace yokedock::lock;

namespace {

struct Scene {
    double sync_hz = 59.94;
    double seconds = 0.5;
    double jitter_s = 0;
    std::mt19937 random{7};

    Watch watch(double edge_hz, double phase = 0.02) {
        Watch w;
        for (double t = 0; t < seconds; t += 1 / sync_hz) {
            w.sync_s.push_back(t);
        }
        std::normal_distribution<double> normal(0, 1);
        for (int k = 0; (k + phase) / edge_hz < seconds; ++k) {
            w.edge_s.push_back((k + phase) / edge_hz + jitter_s * normal(random));
        }
        return w;
    }
};

} // namespace

TEST_CASE("a steady phase is lock, with phase, rate and jitter") {
    for (const double hz : {59.94, 15734.0}) {
        Scene scene{hz, 30 / hz, 1e-4 / hz};
        const Verdict v = judge(scene.watch(hz, 0.25));
        INFO(v.reason);
        CHECK(v.state == BoardState::locked);
        CHECK(v.board_hz == Approx(hz).epsilon(1e-4));
        CHECK(v.phase == Approx(0.25).margin(1e-3));
        CHECK(v.acquired_s == Approx(0.25 / hz).margin(2 / hz));
    }
}

TEST_CASE("a beat down to what the dwell is for is no lock, at any phase and with jitter") {
    for (const double beat : {0.1, 0.3, 1.0, -0.1, -0.5}) {
        for (int phase = 0; phase < 10; ++phase) {
            Scene scene{59.94, std::max(12 / 59.94, least_dwell_s(std::abs(beat))), 2e-6};
            const Verdict v = judge(scene.watch(59.94 + beat, 0.1 * phase));
            INFO("beat " << beat << " phase " << phase << " " << v.reason);
            CHECK(v.state != BoardState::locked);
        }
    }
}

TEST_CASE("near simple ratios only a phase that stands still is a lock at that ratio") {
    Scene scene{59.94, 1.0};
    CHECK(judge(scene.watch(59.94 / 2)).state == BoardState::half_rate);
    CHECK(judge(scene.watch(59.94 * 2)).state == BoardState::double_rate);
    CHECK(judge(scene.watch(59.94 / 3)).state == BoardState::other_ratio);
    for (const double off : {0.1, -0.1}) {
        CHECK(judge(scene.watch(59.94 / 2 + off)).state == BoardState::slipping);
        CHECK(judge(scene.watch(59.94 * 2 + off)).state == BoardState::slipping);
    }
}

TEST_CASE(
    "the board's own rate is free-running; without sync always, with sync when it is the same") {
    Scene scene;
    Watch w = scene.watch(55.9);
    w.free_run_hz = 55.9;
    CHECK(judge(w).state == BoardState::free_running);
    w.free_run_hz = 54;
    CHECK(judge(w).state == BoardState::slipping);
    w.sync_s.clear();
    CHECK(judge(w).state == BoardState::free_running);
    CHECK(judge(w).board_hz == Approx(55.9).epsilon(1e-5));
    w.edge_s.clear();
    CHECK(judge(w).state == BoardState::no_pulse);
}

TEST_CASE("missing and extra edges do not break a lock, nor make one") {
    for (const double hz : {59.94, 60.3}) {
        Scene scene{59.94, 1.0, 1e-6};
        Watch w = scene.watch(hz);
        w.edge_s.erase(w.edge_s.begin() + 20);
        w.edge_s.erase(w.edge_s.begin() + 33);
        w.edge_s.insert(w.edge_s.begin() + 12, w.edge_s[11] + 0.3 / hz);
        CHECK((judge(w).state == BoardState::locked) == (hz == 59.94));
    }
}

TEST_CASE("slow drift of a locked phase, as in warm-up, is still lock") {
    Scene scene{59.94, 0.5, 1e-6};
    Watch w = scene.watch(59.94);
    for (double& t : w.edge_s) {
        t += 0.002 / 59.94 * t / 0.5; // 0.2 % of a period over the dwell
    }
    CHECK(judge(w).state == BoardState::locked);
}

TEST_CASE("acquisition is timed from the first sync to where the phase stays") {
    // The phase comes in exponentially: 0.4 e^(-t / 20 ms), within 0.06 after 20 ms ln(0.4 / 0.06).
    const double hz = 15734;
    Watch w;
    for (double t = 0; t < 0.25; t += 1 / hz) {
        w.sync_s.push_back(t);
        w.edge_s.push_back(t + (0.1 + 0.4 * std::exp(-t / 0.02)) / hz);
    }
    const Verdict v = judge(w);
    INFO(v.reason);
    REQUIRE(v.state == BoardState::locked);
    CHECK(v.acquired_s == Approx(0.02 * std::log(0.4 / kSettledPhase)).margin(0.002));
}

TEST_CASE("the slow part of a slip is no lock when it does not last for the dwell") {
    // Just beyond hold: the phase creeps for long and then slips (Adler's equation, textbook).
    const double hz = 15734;
    const double hold = 900;
    const double beyond = 920;
    Watch w;
    w.steady_s = 0.02;
    double phase = 0.25; // sin = 1: where it creeps
    double t = 0;
    const double dt = 1 / hz;
    for (; t < 0.2; t += dt) {
        w.sync_s.push_back(t);
        phase += dt * (beyond - hold * std::sin(2 * M_PI * phase)) / 1.0;
        w.edge_s.push_back(t + (phase - std::floor(phase)) / hz);
    }
    for (std::size_t n = w.edge_s.size(); n > 2000; n -= 7) {
        w.edge_s.resize(n);
        w.sync_s.resize(n);
        INFO(n);
        CHECK(judge(w).state != BoardState::locked);
    }
}
