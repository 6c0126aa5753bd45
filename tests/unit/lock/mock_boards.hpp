// SPDX-License-Identifier: MIT
// Boards that are a few lines of mathematics, and a bench that runs steps on them: the judge and
// the search without firmware, wire or board model.
#pragma once
#include "host/lock/judge.hpp"
#include "host/lock/stimulus.hpp"
#include "host/lock/sweep_search.hpp"
#include "host/lock/sweep_walk.hpp"
#include <algorithm>
#include <cmath>
#include <memory>
#include <random>

namespace yokedock::lock::mock {

constexpr int kLines = 262; ///< of a field: whole ones, as sync_at() makes them

class Oscillator {
  public:
    virtual ~Oscillator() = default;
    /// Moves on to the next sync start and appends the retrace edges until then. sync: it is sent
    /// (else the time only passes). field_part: place in the field, 0 to 1.
    virtual void until(double time_s, bool sync, double field_part, std::vector<double>& edges) = 0;
};

/// A relaxation oscillator: fires after 1 / free_hz by itself, and on sync once `window` of that
/// has gone by. Locks to free_hz .. free_hz / window, and at half the sync rate over twice that.
class Triggered : public Oscillator {
  public:
    Triggered(double free_hz, double window) : period_s_(1 / free_hz), window_(window) {}
    void until(double time_s, bool sync, double, std::vector<double>& edges) override {
        while (fired_s_ + period_s_ < time_s) {
            fired_s_ += period_s_;
            edges.push_back(fired_s_ + kDelayS);
        }
        if (sync && time_s - fired_s_ >= window_ * period_s_) {
            fired_s_ = time_s;
            edges.push_back(fired_s_ + kDelayS);
        }
    }

  private:
    static constexpr double kDelayS = 2e-4;
    double fired_s_ = 0;
    double period_s_;
    double window_;
};

/// A line loop: sine detector of hold range hold_hz, lag-lead filter (gain at once: lead), and in
/// each field nine lines in which the detector is pushed, as by the vertical interval.
class Loop : public Oscillator {
  public:
    double free_hz = 15720;
    double hold_hz = 500;
    double lag_s = 1.5e-3;
    double lead = 0.25; ///< of the gain past the lag
    double push = 0;    ///< of the detector's full output, during nine lines of 262

    void until(double time_s, bool sync, double field_part, std::vector<double>& edges) override {
        double out = 0;
        if (sync) {
            out = field_part < 9.0 / kLines && push != 0 ? push : std::sin(2 * M_PI * phase_);
        }
        const double dt = time_s - now_s_;
        slow_ += (out - slow_) * (1 - std::exp(-dt / lag_s));
        const double rate = free_hz - hold_hz * (lead * out + (1 - lead) * slow_);
        // phase_: periods by which the board is ahead of sync; an edge at every whole turn.
        const double turned = rate * dt;
        for (double next = 1 - place_; next <= turned; next += 1) {
            edges.push_back(now_s_ + next / rate);
        }
        place_ = place_ + turned - std::floor(place_ + turned);
        now_s_ = time_s;
        phase_ = place_; // sync starts here: the board's place is its phase
    }

  private:
    double now_s_ = 0, slow_ = 0, place_ = 0.3, phase_ = 0.3;
};

/// What the comparator and the wire do to edges.
struct Flaws {
    double jitter_s = 0;
    double missing = 0; ///< part of the edges
    double extra = 0;
};

/// Runs steps as SweepBench does, in mock time.
class Bench {
  public:
    Bench(SweepSettings settings, std::unique_ptr<Oscillator> board, Flaws flaws = {})
        : settings_(std::move(settings)), board_(std::move(board)), flaws_(flaws) {}

    StepResult run(const SweepStep& step) {
        const double release = release_s(settings_);
        double seconds = step.dwell_s;
        bool timed = false;
        switch (step.approach) {
        case Approach::kNoSync:
            pass(0, step.acquire_s);
            break;
        case Approach::kDirect:
        case Approach::kFromFreeRun:
            pass(0, release + 0.37e-3 * step.number);
            seconds += step.acquire_s;
            timed = true;
            break;
        case Approach::kFromLock:
            if (locked_hz_ != step.from_hz) {
                go_to(step.from_hz, step.ramp_step_hz);
            }
            pass(step.rate_hz, step.acquire_s);
            break;
        case Approach::kFromNoLock:
            pass(step.rate_hz, step.acquire_s);
            break;
        }
        const Verdict v = watch(step.approach == Approach::kNoSync ? 0 : step.rate_hz, seconds,
                                kSteadyPart * step.dwell_s);
        StepResult r;
        r.step = step;
        r.time_s = now_s_;
        r.achieved_hz = step.rate_hz;
        r.state = v.state;
        r.reason = v.reason;
        r.board_hz = v.board_hz;
        r.board_u_hz = v.board_u_hz;
        r.acquired_s = timed ? v.acquired_s : -1;
        r.edges = v.edges;
        const bool locked = v.state == BoardState::locked;
        locked_hz_ = locked ? step.rate_hz : 0;
        if (step.approach == Approach::kNoSync) {
            free_run_hz_ = v.board_hz;
        }
        if (locked && step.part == SweepPart::nominal) {
            anchor_hz_ = step.rate_hz;
        }
        return r;
    }

    /// Board and sync for so long; rate 0: no sync.
    void pass(double rate_hz, double seconds) {
        edges_.clear();
        syncs_.clear();
        const double end_s = now_s_ + seconds;
        const double step_s = 1 / (rate_hz > 0 ? rate_hz : settings_.nominal_hz);
        while (now_s_ < end_s) {
            if (rate_hz > 0) {
                syncs_.push_back(now_s_);
            }
            now_s_ += step_s;
            line_ = (line_ + 1) % kLines;
            board_->until(now_s_, rate_hz > 0, line_ * 1.0 / kLines, edges_);
        }
    }

    Verdict watch(double rate_hz, double seconds, double steady_s) {
        pass(rate_hz, seconds);
        Watch w;
        w.edge_s = flawed(edges_);
        w.sync_s = syncs_;
        w.free_run_hz = free_run_hz_;
        w.steady_s = steady_s;
        w.beat_hz = settings_.resolution_hz;
        w.repeat_s = vertical() || rate_hz == 0 ? 0 : kLines / rate_hz;
        return judge(w);
    }

    [[nodiscard]] double now_s() const { return now_s_; }

  private:
    [[nodiscard]] bool vertical() const { return settings_.axis == SweepAxis::kVertical; }

    void go_to(double rate_hz, double ramp_hz) {
        const double anchor = anchor_hz_ > 0 ? anchor_hz_ : settings_.nominal_hz;
        pass(anchor, settings_.acquire_s + 0.2);
        const double way = rate_hz - anchor;
        const int steps = static_cast<int>(std::ceil(std::abs(way) / ramp_hz));
        for (int i = 1; i <= steps; ++i) {
            pass(anchor + way * i / steps, settle_s(settings_));
        }
    }

    std::vector<double> flawed(const std::vector<double>& edges) {
        std::normal_distribution<double> normal(0, 1);
        std::uniform_real_distribution<double> part(0, 1);
        std::vector<double> out;
        for (const double t : edges) {
            if (part(random_) >= flaws_.missing) {
                out.push_back(t + flaws_.jitter_s * normal(random_));
            }
            if (part(random_) < flaws_.extra) {
                out.push_back(t + 0.4 * part(random_) / settings_.nominal_hz);
            }
        }
        std::sort(out.begin(), out.end());
        return out;
    }

    SweepSettings settings_;
    std::unique_ptr<Oscillator> board_;
    Flaws flaws_;
    std::mt19937 random_{11};
    double now_s_ = 1;
    int line_ = 0;
    double locked_hz_ = 0, anchor_hz_ = 0, free_run_hz_ = 0;
    std::vector<double> edges_, syncs_;
};

} // namespace yokedock::lock::mock
