// SPDX-License-Identifier: MIT
#include "tests/spice/line_run.hpp"
#include "demo/virtual_bench/board/line_output.hpp"
#include "demo/virtual_bench/board/power_side.hpp"
#include <cmath>

namespace yokedock::spice {

namespace {

constexpr int kSettleLines = 1500;
constexpr int kSpiceLines = 2;
constexpr double kBeforeS = 5e-6;
constexpr double kStepS = 0.1e-6;
constexpr double kSpiceStepS = 0.1e-6;
constexpr double kOtherA = 0.5; // field output and the rest

/// The board model's line stage on a drive from outside. Its rail: the regulator less what the mean
/// current drops.
class Model {
  public:
    explicit Model(const sim::BoardParameters& p)
        : p_(sim::PowerSide(p, sim::BoardPower::kAlwaysOn).as_wired()),
          rail_v_(p.supply_regulated_v), stage_(p_, rail_v_) {}

    void run_until(double time_s) {
        while (std::min(next_off_s_, next_on_s_) <= time_s) {
            if (next_off_s_ <= next_on_s_) {
                (void)stage_.switch_off(next_off_s_);
                rail_v_ = p_.supply_regulated_v -
                          p_.supply_output_ohm * (stage_.mean_choke_a(next_off_s_) + kOtherA);
                stage_.set_rail(rail_v_ - p_.supply_filter_ohm *
                                              (stage_.mean_choke_a(next_off_s_) + kOtherA));
                lines_ += 1;
                next_off_s_ = lines_ * kLineS;
            } else {
                (void)stage_.switch_on(next_on_s_);
                next_on_s_ += kLineS;
            }
        }
        stage_.run_until(time_s);
    }
    [[nodiscard]] const sim::LineOutput& stage() const { return stage_; }
    [[nodiscard]] double rail_v() const { return rail_v_; }

  private:
    sim::BoardParameters p_;
    double rail_v_;
    sim::LineOutput stage_;
    int lines_ = 0;
    double next_off_s_ = 0;
    double next_on_s_ = p_.line_drive_on_phase * kLineS;
};

Waves watch(Model& model, double begin_s, std::size_t count) {
    Waves waves;
    waves.step_s = kStepS;
    for (std::size_t i = 0; i < count; ++i) {
        const double t = begin_s + kStepS * static_cast<double>(i);
        model.run_until(t);
        const auto point = model.stage().at(t);
        waves.yoke_a.push_back(point.yoke_a);
        waves.out_v.push_back(point.collector_v);
        waves.supply_v.push_back(model.rail_v());
    }
    return waves;
}

std::size_t samples(double lines) {
    return static_cast<std::size_t>(lines * kLineS / kStepS);
}

constexpr double kStartS = kSettleLines * kLineS;
constexpr double kJustBeforeS = 1e-9;                       // the drive goes at kStartS
constexpr double kBeginS = kSpiceLines * kLineS - kBeforeS; // after ngspice's start

} // namespace

Waves model_line(const LineCase& which, double lines) {
    Model model(line_values(which));
    model.run_until(kStartS);
    return watch(model, kStartS + kBeginS, samples(lines));
}

LineRuns run_line(const LineCase& which, double lines) {
    const sim::BoardParameters p = line_values(which);
    Model model(p);
    model.run_until(kStartS - kJustBeforeS);
    const sim::LineOutput& stage = model.stage();
    const auto at_start = stage.at(kStartS - kJustBeforeS);
    const double all_a = stage.mean_choke_a(kStartS) + kOtherA;
    const LineStart start{at_start.yoke_a, at_start.choke_a, at_start.s_capacitor_v,
                          model.rail_v() - p.supply_filter_ohm * all_a};

    const std::size_t count = samples(lines);
    const double end_s = kBeginS + static_cast<double>(count) * kStepS;
    const sim::SpiceRun run = sim::run_spice(line_netlist(which, start, kOtherA),
                                             {"i(ly)", "v(coll)", "v(rail)", "i(lp)", "i(vreg)"},
                                             kSpiceStepS, end_s, kBeginS - 1e-6);
    LineRuns runs;
    runs.log = run.log;
    if (run.time_s.size() < 1000) {
        return runs;
    }
    runs.spice = resample(run, kBeginS, kStepS, count, 1);
    const double last_s = kBeginS + std::floor(lines - 1) * kLineS;
    runs.drift_a = std::fabs(run.at(3, last_s) - run.at(3, kBeginS));
    for (std::size_t i = 0; i < count; ++i) {
        const double t = kBeginS + kStepS * static_cast<double>(i);
        runs.supply_spice_a += (-run.at(4, t) - kOtherA) / static_cast<double>(count);
    }
    runs.model = watch(model, kStartS + kBeginS, count);
    runs.supply_model_a = stage.mean_choke_a(kStartS + end_s);
    return runs;
}

} // namespace yokedock::spice
