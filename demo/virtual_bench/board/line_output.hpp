// SPDX-License-Identifier: MIT
// Line output stage: transistor, damper, retrace capacitor, S-correction capacitor, choke (or
// transformer primary) and yoke. Between switchings it is a linear circuit, evolved exactly; so any
// instant of the last lines can be asked for. Yoke current is positive at the end of the trace.
#pragma once
#include "demo/virtual_bench/board/line_afc.hpp"
#include "demo/virtual_bench/board/linear_flow.hpp"
#include "demo/virtual_bench/board/parameters.hpp"
#include <array>

namespace yokedock::sim {

class LineOutput {
  public:
    enum class Mode { kOff, kDamper, kOn };

    LineOutput(const BoardParameters& p, double rail_v);
    /// New component values from time_s on (run up to it first); currents and charges stay.
    void configure(const BoardParameters& p, double time_s);
    void set_rail(double rail_v) { rail_v_ = rail_v; }

    /// Retrace as it will be when nothing switches on in its middle.
    struct Retrace {
        LineRetrace pulse;    ///< from switch-off until the damper conducts
        bool crosses = false; ///< the collector passes the comparator's threshold
        double rise_s = 0;    ///< and when
        double fall_s = 0;
    };

    /// The transistor lets go (run up to time_s first). Returns what follows.
    Retrace switch_off(double time_s);
    /// Drive returns (run up to time_s first). True: it cut a retrace short.
    bool switch_on(double time_s);
    void run_until(double time_s);

    struct Point {
        double yoke_a = 0;
        double collector_v = 0;
        double s_capacitor_v = 0;
        double choke_a = 0;
        Mode mode = Mode::kDamper;
    };
    /// At any time of the last 8 lines or so, or ahead with things as they are.
    [[nodiscard]] Point at(double time_s) const;
    /// Rail current, averaged over the last line; of a stage at rest what flows at time_s.
    [[nodiscard]] double mean_choke_a(double time_s) const;

  private:
    /// kShort: current in the shorted turns of the yoke, 0 while none are.
    enum Index { kYoke, kS, kChoke, kCollector, kShort, kRail, kOne };
    using Flow = LinearFlow<5, 2, 1>;
    struct Segment {
        double begin_s = 0;
        Mode mode = Mode::kDamper;
        Flow::State state{};
    };
    [[nodiscard]] const Flow& flow(Mode mode) const {
        return flows_[static_cast<std::size_t>(mode)];
    }
    [[nodiscard]] double clamp_v(Mode mode, double total_a) const;
    void make_flows(const BoardParameters& p);
    void enter(double time_s, Mode mode, Flow::State state);
    /// Time from the segment's start at which its mode ends by itself, or infinity.
    [[nodiscard]] double natural_end(const Segment& s) const;
    template <class Margin> double refine(const Flow& flow, Flow::State& s, Margin margin) const;

    std::array<Flow, 3> flows_;
    BoardParameters p_;
    double rail_v_ = 0;
    bool driven_ = false;
    std::array<Segment, 32> history_{};
    std::size_t newest_ = 0;
    double change_s_ = 0; ///< when the present mode ends by itself
    double choke_at_off_a_ = 0;
    double mean_choke_a_ = 0;
    double mean_choke_s_ = 0; ///< when that line ended
};

} // namespace yokedock::sim
