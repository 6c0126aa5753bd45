// SPDX-License-Identifier: MIT
// Whether the vertical output IC lives: junction temperature over the heat sink, and the limits of
// its data sheet. Once a limit is exceeded it is destroyed for good: a short across the rail, its
// output dead. Fitted the wrong way round it is two diodes across the rail, and does nothing else.
// Its own protection mutes it above a junction temperature until that has fallen by 15 K (assumed).
// Class of device: TDA1675A, TDA1170S (STMicroelectronics). From memory, not checked against the
// sheets: 3 K/W junction to case, 150 degC, 3 A peak at the output, 35 V supply. Supply pin current
// (taken as the output's), heat capacity of the junction and diode drop: assumed.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include <string>

namespace yokedock::sim {

enum class IcLimit { kNone, kJunction, kOutputCurrent, kSupplyCurrent, kSupplyVoltage };

/// The worst so far, and what it died of.
struct IcStress {
    double hottest_c = 0;
    double most_output_a = 0;
    double most_supply_a = 0;
    double most_supply_v = 0;
    IcLimit died_of = IcLimit::kNone;
    double died_s = 0; ///< true time, as BoardModel counts it
};

/// "survived, hottest 61 degC, most 0.4 A at the output, 0.4 A and 24 V at the supply".
[[nodiscard]] std::string describe(const IcStress& stress);

class VerticalIc {
  public:
    explicit VerticalIc(const BoardParameters& p) : junction_c_(p.thermal_start_c) { configure(p); }
    void configure(const BoardParameters& p) { p_ = p; }

    /// What it bore over a step of dt_s ending at time_s: mean watts, largest currents of the step.
    struct Load {
        double watts = 0;
        double output_a = 0; ///< magnitude
        double supply_a = 0;
        double supply_v = 0;
        double sink_c = 0;
    };
    void step(double time_s, double dt_s, const Load& load);

    [[nodiscard]] bool reversed() const { return p_.vertical_ic_reversed >= 0.5; }
    [[nodiscard]] bool destroyed() const { return stress_.died_of != IcLimit::kNone; }
    [[nodiscard]] bool works() const { return !reversed() && !destroyed(); }
    /// It drives its output: works, is not dead and not muted by its own protection.
    [[nodiscard]] bool drives() const { return works() && p_.vertical_ic_dead < 0.5 && !muted_; }
    [[nodiscard]] double junction_c() const { return junction_c_; }
    [[nodiscard]] const IcStress& stress() const { return stress_; }

  private:
    BoardParameters p_;
    double junction_c_;
    bool muted_ = false;
    IcStress stress_;
};

} // namespace yokedock::sim
