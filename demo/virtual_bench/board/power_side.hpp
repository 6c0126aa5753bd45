// SPDX-License-Identifier: MIT
// The power side of bench and board: supply, relays, soft start, what the vertical output IC bears,
// and the loads' way to board or step drive. Two ways to run: the board simply on, or as relays
// decide. True time.
#pragma once
#include "demo/virtual_bench/board/bench_relays.hpp"
#include "demo/virtual_bench/board/load_step.hpp"
#include "demo/virtual_bench/board/soft_start.hpp"
#include "demo/virtual_bench/board/supply.hpp"
#include "demo/virtual_bench/board/vertical_ic.hpp"

namespace yokedock::sim {

enum class BoardPower {
    kAlwaysOn, ///< both loads and the supply wired straight to the board; no relay is looked at
    kRelays,   ///< as the chip drives K1 to K5; nothing is on at the start
};

/// What Board and the virtual bench do when not told.
constexpr BoardPower kDefaultPower = BoardPower::kAlwaysOn;

class PowerSide {
  public:
    PowerSide(const BoardParameters& p, BoardPower power);
    void configure(const BoardParameters& p, double time_s);

    /// Times may lie a little before now; see BenchRelays.
    void set_drive(double time_s, const BenchDrive& drive);
    /// Moves contacts due by time_s; bring the rail up to then first.
    void advance_relays(double time_s);
    [[nodiscard]] double next_change_s() const { return relays_.next_change_s(); }

    /// What the stages did since the last step.
    struct Stages {
        double rail_a = 0; ///< mean
        double vertical_watts = 0;
        double vertical_out_a = 0; ///< largest magnitude
        double vertical_up_a = 0;  ///< largest out of the rail
        double sink_c = 0;
    };
    /// One step of dt_s that ends at time_s.
    void step(double time_s, double dt_s, const Stages& stages);
    /// How far the next step may go.
    [[nodiscard]] double next_step_s(double time_s) const;

    [[nodiscard]] double rail_v() const { return supply_.rail_v(); }
    [[nodiscard]] double stage_v() const { return supply_.stage_v(); } ///< behind the rail filter
    [[nodiscard]] double rail_a() const { return supply_.rail_a(); }   ///< through the shunt
    /// What a reversed or destroyed IC turns to heat.
    [[nodiscard]] double clamp_watts() const;
    [[nodiscard]] bool vertical_on_board() const { return always_on_ || relays_.contacts().k3; }
    [[nodiscard]] bool horizontal_on_board() const { return always_on_ || relays_.contacts().k4; }
    /// Component values as the board meets them: plugs, contacts and shorted turns in the loads.
    [[nodiscard]] BoardParameters as_wired() const;

    [[nodiscard]] const Supply& supply() const { return supply_; }
    [[nodiscard]] const SoftStart& soft_start() const { return soft_start_; }
    [[nodiscard]] const VerticalIc& vertical_ic() const { return ic_; }
    [[nodiscard]] const LoadStep& vertical_load() const { return vertical_load_; }
    [[nodiscard]] const LoadStep& horizontal_load() const { return horizontal_load_; }
    [[nodiscard]] BenchRelays& relays() { return relays_; }
    [[nodiscard]] const BenchRelays& relays() const { return relays_; }

    static constexpr double kSlowStepS = 50e-6;
    static constexpr double kFineStepS = 5e-6;

  private:
    void update_load_steps(double time_s);
    void step_rail(double time_s, double dt_s, const Stages& stages);

    BoardParameters p_;
    bool always_on_;
    Supply supply_;
    BenchRelays relays_;
    SoftStart soft_start_;
    VerticalIc ic_;
    BenchDrive drive_;
    LoadStep vertical_load_;
    LoadStep horizontal_load_;
    double fine_until_s_ = 0;
};

} // namespace yokedock::sim
