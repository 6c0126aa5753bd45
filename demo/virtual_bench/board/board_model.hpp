// SPDX-License-Identifier: MIT
// All blocks of the board wired together, in true time and without any front end: what the board
// really does. Time 0 is a board that has been running without sync long enough for its supplies
// and capacitors to settle.
#pragma once
#include "demo/virtual_bench/board/line_afc.hpp"
#include "demo/virtual_bench/board/line_output.hpp"
#include "demo/virtual_bench/board/live_faults.hpp"
#include "demo/virtual_bench/board/power_side.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include "demo/virtual_bench/board/vertical_oscillator.hpp"
#include "demo/virtual_bench/board/vertical_output.hpp"
#include "demo/virtual_bench/board_port.hpp"
#include <array>
#include <deque>
#include <optional>

namespace yokedock::sim {

class BoardModel {
  public:
    /// Always on: time 0 is after half a second of running. Relays: off and empty until they close.
    /// live: faults that come and go, on top of the values; their times count from time 0.
    explicit BoardModel(const BoardParameters& p, BoardPower power = BoardPower::kAlwaysOn,
                        const std::vector<FaultUse>& live = {});

    /// New component values from now on; charges, currents and temperatures stay. Faults that come
    /// and go stay on top of them.
    void configure(const BoardParameters& p);

    /// See BoardPort. With the board always on nothing comes of it.
    void set_drive(double time_s, const BenchDrive& drive);
    [[nodiscard]] std::optional<PinChange> take_over_current();

    /// Composite sync changes level. time_s is not before the time the board stands at.
    void set_sync_tip(double time_s, bool tip);

    /// Runs to limit_s at the most; returns the first comparator edge on the way and stands there.
    [[nodiscard]] std::optional<RetraceEdge> run_until(double limit_s);
    /// Runs to time_s whatever edges come; they are returned by later calls of run_until.
    void skip_to(double time_s) { advance(time_s + kSettleS, false); }
    [[nodiscard]] double now_s() const { return now_s_ - kSettleS; }

    // Noiseless quantities at an instant not after now_s() and at most 150 us before it.
    [[nodiscard]] LineOutput::Point line_at(double time_s) const {
        return line_.at(time_s + kSettleS);
    }
    [[nodiscard]] VerticalOutput::Point vertical_at(double time_s) const;
    /// The channel's quantity as it is, before any front end; reference included.
    [[nodiscard]] double quantity(ChannelId channel, double time_s) const;
    [[nodiscard]] LineRetrace last_retrace() const;

    // For tests and truth.
    [[nodiscard]] const LineAfc& line_afc() const { return afc_; }
    [[nodiscard]] const VerticalOscillator& vertical_oscillator() const { return oscillator_; }
    [[nodiscard]] const VerticalOutput& vertical_output() const { return vertical_; }
    [[nodiscard]] const Supply& supply() const { return power_.supply(); }
    [[nodiscard]] const PowerSide& power() const { return power_; }
    [[nodiscard]] const HeatSink& heat_sink() const { return heat_sink_; }
    [[nodiscard]] const LiveFaults& live_faults() const { return live_; }
    /// The worst the vertical output IC bore; died_s in the outside's time.
    [[nodiscard]] IcStress ic_stress() const;

    static constexpr double kSettleS = 0.5;
    static constexpr double kSlowStepS = PowerSide::kSlowStepS;

  private:
    struct Slow {
        double time_s = 0;
        double rail_v = 0;
        double rail_a = 0;
    };
    void advance(double limit_s, bool stop_at_edge);
    void run_vertical(double time_s);
    void update_separator();
    void switch_line_off();
    void switch_line_on();
    void slow_step();
    void move_relays();
    void use(const BoardParameters& p);
    void configure_stages();
    void look_at_faults();
    [[nodiscard]] double slow_quantity(ChannelId channel, double time_s) const;
    void queue(const RetraceEdge& edge);

    LiveFaults live_;
    BoardParameters p_; ///< with live_'s faults as they are now
    PowerSide power_;
    HeatSink heat_sink_;
    SyncSeparator separator_;
    VerticalOscillator oscillator_;
    VerticalOutput vertical_;
    LineAfc afc_;
    LineOutput line_;
    double now_s_ = 0; ///< all members run kSettleS ahead of the outside's time
    double next_slow_s_ = kSlowStepS;
    double last_slow_s_ = 0;
    double off_s_;
    double on_s_;
    bool separator_on_ = false;
    LineRetrace last_retrace_;
    std::array<Slow, 32> slow_{}; ///< 150 us even in small steps
    std::size_t slow_newest_ = 0;
    std::deque<RetraceEdge> edges_; ///< in time order
};

} // namespace yokedock::sim
