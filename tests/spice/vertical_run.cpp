// SPDX-License-Identifier: MIT
#include "tests/spice/vertical_run.hpp"
#include "demo/virtual_bench/board/power_side.hpp"
#include "demo/virtual_bench/board/vertical_output.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::spice {

namespace {

constexpr int kSettleFields = 60;
constexpr int kSpiceFields = 2;
constexpr double kBeforeResetS = 3e-3;
constexpr double kStepS = 4e-6;
constexpr double kSpiceStepS = 20e-6; // at the most; ngspice takes smaller ones by itself
constexpr double kLineA = 0.35;       // what a line stage of this size draws

/// The board model's field stage and supply on a drive from outside.
class Model {
  public:
    explicit Model(const VerticalCase& which)
        : power_(which.values, sim::BoardPower::kAlwaysOn),
          stage_(power_.as_wired(), power_.stage_v()) {}

    void run_until(double time_s) {
        while (true) {
            const double next = std::min({time_s, next_slow_s_, next_reset_s_});
            stage_.run_until(next);
            if (next >= next_reset_s_) {
                stage_.set_reset(next_reset_s_, !reset_);
                reset_ = !reset_;
                fields_ += reset_ ? 0 : 1;
                next_reset_s_ = fields_ * kFieldS + (reset_ ? kResetS : 0);
            }
            if (next >= next_slow_s_) {
                slow_step();
            }
            if (next >= time_s) {
                return;
            }
        }
    }
    [[nodiscard]] const sim::VerticalOutput& stage() const { return stage_; }
    [[nodiscard]] const sim::PowerSide& power() const { return power_; }

  private:
    void slow_step() {
        const sim::VerticalOutput::Account account = stage_.take_account();
        power_.step(next_slow_s_, sim::PowerSide::kSlowStepS,
                    {account.supply_c / std::max(account.seconds, 1e-9) + kLineA, 0, 0, 0, 40});
        stage_.set_rail(power_.stage_v());
        slow_count_ += 1;
        next_slow_s_ = slow_count_ * sim::PowerSide::kSlowStepS;
    }

    sim::PowerSide power_;
    sim::VerticalOutput stage_;
    bool reset_ = false;
    int fields_ = 0;
    double next_reset_s_ = 0;
    double slow_count_ = 1;
    double next_slow_s_ = sim::PowerSide::kSlowStepS;
};

/// The ramp's capacitors at the end of a settled trace: the upper one has no mean, because the
/// linearity control would move it; the reset leaves the two with equal and opposite charge.
void set_ramp(VerticalStart& start, const sim::BoardParameters& p) {
    const double series_f = p.ramp_upper_f * p.ramp_lower_f / (p.ramp_upper_f + p.ramp_lower_f);
    const double ohm = p.ramp_fixed_ohm + p.ramp_height_ohm;
    const double share = p.ramp_leak_ohm / (p.ramp_leak_ohm + ohm);
    const double end_v =
        p.ramp_supply_v * share * (1 - std::exp(-(kFieldS - kResetS) / (ohm * share * series_f)));
    const bool balanced = p.ramp_linearity_ohm < 1e6;
    start.ramp_upper_v = end_v * series_f / p.ramp_upper_f * (balanced ? 0.5 : 1);
    start.ramp_lower_v = end_v - start.ramp_upper_v;
}

Waves watch(Model& model, double begin_s, std::size_t count) {
    Waves waves;
    waves.step_s = kStepS;
    for (std::size_t i = 0; i < count; ++i) {
        const double t = begin_s + kStepS * static_cast<double>(i);
        model.run_until(t);
        const auto point = model.stage().at(t);
        waves.yoke_a.push_back(-point.yoke_a);
        waves.out_v.push_back(point.output_v);
        waves.supply_v.push_back(model.power().rail_v());
    }
    return waves;
}

std::size_t samples(double fields) {
    return static_cast<std::size_t>(fields * kFieldS / kStepS);
}

constexpr double kStartS = kSettleFields * kFieldS;
constexpr double kBeginS = kSpiceFields * kFieldS - kBeforeResetS; // after ngspice's start

} // namespace

Waves model_vertical(const VerticalCase& which, double fields) {
    Model model(which);
    model.run_until(kStartS);
    return watch(model, kStartS + kBeginS, samples(fields));
}

VerticalRuns run_vertical(const VerticalCase& which, double fields) {
    Model model(which);
    model.run_until(kStartS);
    const sim::VerticalOutput& stage = model.stage();
    VerticalStart start;
    start.yoke_a = stage.at(kStartS).yoke_a;
    start.coupling_v = stage.coupling_v();
    // A boost that never lifts stands charged, which the model's word for it does not know.
    start.boost_v = which.boost_never_lifts ? model.power().rail_v() - 0.6 : stage.boost_v();
    start.raw_v = model.power().supply().raw_v();
    start.mains_turns = which.values.supply_mains_phase + which.values.supply_mains_hz * kStartS;
    set_ramp(start, which.values);

    const std::size_t count = samples(fields);
    const double end_s = kBeginS + static_cast<double>(count) * kStepS;
    const sim::SpiceRun run =
        sim::run_spice(vertical_netlist(which, start, kLineA),
                       {"i(ly)", "v(out)", "v(rail)", "v(cc)"}, kSpiceStepS, end_s, kBeginS - 1e-4);
    VerticalRuns runs;
    runs.log = run.log;
    if (run.time_s.size() < 1000) {
        return runs;
    }
    runs.spice = resample(run, kBeginS, kStepS, count, -1);
    const double last_s = kBeginS + std::floor(fields - 1) * kFieldS;
    runs.drift_v = std::fabs(run.at(3, last_s) - run.at(3, kBeginS));
    runs.model = watch(model, kStartS + kBeginS, count);
    return runs;
}

} // namespace yokedock::spice
