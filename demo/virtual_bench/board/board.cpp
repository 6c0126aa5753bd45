// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/board.hpp"

namespace yokedock::sim {
namespace {

// A load step may be as short as the input lag and begins with a corner: 16 parts leave 0.03 % of
// error in the time constant of a rise three lags long, one part 2.7 % (against the closed form).
constexpr int kStepParts = 16;

} // namespace

std::optional<RetraceEdge> Board::run_until(double limit_s) {
    std::optional<RetraceEdge> edge = model_.run_until(true_s(limit_s));
    const LineRetrace retrace = model_.last_retrace();
    const double peak_s = 0.5 * (retrace.begin_s + retrace.end_s);
    if (peak_s > peak_seen_s_ && peak_s <= model_.now_s() && model_.power().horizontal_on_board()) {
        peak_seen_s_ = peak_s;
        front_end_.see_peak(peak_s, retrace.peak_v);
    }
    if (edge) {
        edge->time_s = bench_s(edge->time_s);
    }
    return edge;
}

std::optional<PinChange> Board::take_over_current() {
    auto change = model_.take_over_current();
    if (change) {
        change->time_s = bench_s(change->time_s);
    }
    return change;
}

std::string Board::closing_words() const {
    return "the vertical output IC: " + describe(model_.ic_stress()) + "\n";
}

int Board::adc_code(ChannelId channel, double time_s) {
    const double t = true_s(time_s);
    if (channel == ChannelId::h_peak_v) {
        return front_end_.code(channel, front_end_.peak_v(t));
    }
    const PowerSide& power = model_.power();
    const bool step = (channel == ChannelId::v_yoke_a && !power.vertical_on_board()) ||
                      (channel == ChannelId::h_yoke_a && !power.horizontal_on_board());
    const double seen = front_end_.lagged(
        channel, t, [&](double at_s) { return model_.quantity(channel, at_s); },
        step ? kStepParts : 1);
    return front_end_.code(channel, seen);
}

} // namespace yokedock::sim
