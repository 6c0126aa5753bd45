// SPDX-License-Identifier: MIT
#include "host/analysis/edges.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kAcceptPeriods = 0.25;  // an edge farther than this from its place is an extra one
constexpr double kPeriodGain = 0.1;      // how fast the tracker follows a drifting oscillator
constexpr double kPhaseGain = 0.5;       // and a jittering one
constexpr std::size_t kAnchorTries = 12; // edges tried as the first good one
constexpr std::size_t kAnchorLook = 60;
constexpr int kLostAfterRejects = 8; // this many in a row: the count is lost, start a new run
constexpr double kLongJump = 3;      // periods
constexpr double kBridgePeriods =
    0.2; // a gap is bridged when the predicted place is better than this

double median_spacing(const std::vector<double>& t) {
    std::vector<double> d(t.size() - 1);
    for (std::size_t i = 1; i < t.size(); ++i) {
        d[i - 1] = t[i] - t[i - 1];
    }
    auto middle = d.begin() + static_cast<std::ptrdiff_t>(d.size() / 2);
    std::nth_element(d.begin(), middle, d.end());
    return *middle;
}

bool watched(double from_s, double to_s, const std::vector<capture::Interval>& unwatched) {
    return std::none_of(unwatched.begin(), unwatched.end(), [&](const capture::Interval& gap) {
        return gap.begin_s < to_s && gap.end_s > from_s;
    });
}

// The edge from which most of the next ones stand at whole periods: an extra edge makes a poor
// anchor.
std::size_t best_anchor(const std::vector<double>& t, std::size_t from, double period) {
    std::size_t best = from;
    std::size_t best_votes = 0;
    const std::size_t tries = std::min(t.size(), from + kAnchorTries);
    for (std::size_t a = from; a < tries; ++a) {
        std::size_t votes = 0;
        for (std::size_t i = a + 1; i < std::min(t.size(), a + kAnchorLook); ++i) {
            const double steps = (t[i] - t[a]) / period;
            // Trust falls with distance: the period is only known to the spread of one spacing.
            const double bound = std::min(kAcceptPeriods, 0.03 + 0.005 * steps);
            votes += std::abs(steps - std::round(steps)) < bound ? 1u : 0u;
        }
        if (votes > best_votes) {
            best_votes = votes;
            best = a;
        }
    }
    return best;
}

class Tracker {
  public:
    Tracker(const std::vector<double>& t, const std::vector<capture::Interval>& unwatched)
        : t_(t), unwatched_(unwatched) {
        out_.typical_period_s = median_spacing(t);
        period_ = out_.typical_period_s;
    }

    EdgeIndex run() {
        if (!(period_ > 0)) {
            return out_;
        }
        start_run(0);
        while (next_ < t_.size()) {
            step();
        }
        out_.runs = run_ + 1;
        return out_;
    }

  private:
    void start_run(std::size_t from) {
        const std::size_t anchor = best_anchor(t_, from, period_);
        out_.extra += anchor - from;
        place_ = t_[anchor];
        accept(t_[anchor], out_.edges.empty() ? 0 : out_.edges.back().index + 1);
        next_ = anchor + 1;
    }

    void accept(double time, std::int64_t index) {
        out_.edges.push_back({time, index, run_});
        rejects_ = 0;
        ++run_length_;
    }

    // Period for a long jump: from the whole run so far. Its doubt: jitter over the lever, and how
    // far the two halves of the run disagree (a drifting oscillator). In periods, for a jump of
    // `steps`.
    struct Lever {
        double period;
        double doubt;
    };
    [[nodiscard]] Lever lever(double steps) const {
        if (run_length_ < 3) {
            return {period_, steps * 0.1};
        }
        const IndexedEdge& a = out_.edges[out_.edges.size() - run_length_];
        const IndexedEdge& m = out_.edges[out_.edges.size() - (run_length_ + 1) / 2];
        const IndexedEdge& b = out_.edges.back();
        const auto slope = [](const IndexedEdge& from, const IndexedEdge& to) {
            return (to.time_s - from.time_s) / static_cast<double>(to.index - from.index);
        };
        const double period = slope(a, b);
        const auto span = static_cast<double>(b.index - a.index);
        const double jitter = 3 * stray_ / span;
        const double drift = std::abs(slope(a, m) - slope(m, b)) / period;
        return {period, steps * std::min(jitter + drift, 0.1)};
    }

    void step() {
        const double time = t_[next_];
        const IndexedEdge last = out_.edges.back();
        double exact = (time - place_) / period_;
        if (exact > kLongJump) {
            const Lever l = lever(exact);
            if (l.doubt > kBridgePeriods) {
                new_run();
                return;
            }
            exact = (time - place_) / l.period;
        }
        const double steps = std::round(exact);
        const double error = exact - steps;
        if (std::abs(error) > kAcceptPeriods) {
            reject();
            return;
        }
        if (steps < 1) { // two edges for one period: keep the one nearer to its place
            ++out_.extra;
            if (std::abs(error) < std::abs(last_error_)) {
                out_.edges.back().time_s = time;
                last_error_ = error;
            }
            ++next_;
            return;
        }
        if (watched(last.time_s, time, unwatched_)) {
            out_.missing += static_cast<std::size_t>(steps) - 1;
        }
        accept(time, last.index + static_cast<std::int64_t>(steps));
        stray_ += 0.05 * (std::abs(error) - stray_);
        if (steps > kLongJump) {
            place_ = time;
        } else {
            place_ += steps * period_ + kPhaseGain * error * period_;
            period_ *= 1 + kPeriodGain * error / steps;
        }
        last_error_ = error;
        ++next_;
    }

    void reject() {
        ++out_.extra;
        ++next_;
        if (++rejects_ < kLostAfterRejects) {
            return;
        }
        next_ -= kLostAfterRejects;
        out_.extra -= kLostAfterRejects;
        new_run();
    }

    void new_run() {
        ++run_;
        period_ = out_.typical_period_s;
        run_length_ = 0;
        stray_ = 0.02;
        start_run(next_);
    }

    const std::vector<double>& t_;
    const std::vector<capture::Interval>& unwatched_;
    EdgeIndex out_;
    double period_ = 0;
    double place_ = 0;
    double last_error_ = 0;
    double stray_ = 0.02; // how far edges stray from their place, periods; pessimistic at first
    std::size_t next_ = 0;
    std::size_t run_ = 0;
    std::size_t run_length_ = 0;
    int rejects_ = 0;
};

} // namespace

EdgeIndex index_edges(const std::vector<double>& times_s,
                      const std::vector<capture::Interval>& unwatched) {
    if (times_s.size() < 2) {
        return {};
    }
    return Tracker(times_s, unwatched).run();
}

} // namespace yokedock::analysis
