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

} // namespace

LineRuns run_line(const LineCase& which, double lines) {
    const sim::BoardParameters p = line_values(which);
    Model model(p);
    const double start_s = kSettleLines * kLineS;
    model.run_until(start_s - 1e-9);
    const sim::LineOutput& stage = model.stage();
    const auto at_start = stage.at(start_s - 1e-9);
    const double all_a = stage.mean_choke_a(start_s) + kOtherA;
    const LineStart start{at_start.yoke_a, at_start.choke_a, at_start.s_capacitor_v,
                          model.rail_v() - p.supply_filter_ohm * all_a};

    const double begin_s = kSpiceLines * kLineS - kBeforeS;
    const auto count = static_cast<std::size_t>(lines * kLineS / kStepS);
    const double end_s = begin_s + static_cast<double>(count) * kStepS;
    const sim::SpiceRun run = sim::run_spice(line_netlist(which, start, kOtherA),
                                             {"i(ly)", "v(coll)", "v(rail)", "i(lp)", "i(vreg)"},
                                             kSpiceStepS, end_s, begin_s - 1e-6);
    LineRuns runs;
    runs.log = run.log;
    if (run.time_s.size() < 1000) {
        return runs;
    }
    runs.spice = resample(run, begin_s, kStepS, count, 1);
    const double last_s = begin_s + std::floor(lines - 1) * kLineS;
    runs.drift_a = std::fabs(run.at(3, last_s) - run.at(3, begin_s));
    runs.model.step_s = kStepS;
    for (std::size_t i = 0; i < count; ++i) {
        const double t = begin_s + kStepS * static_cast<double>(i);
        model.run_until(start_s + t);
        const auto point = stage.at(start_s + t);
        runs.model.yoke_a.push_back(point.yoke_a);
        runs.model.out_v.push_back(point.collector_v);
        runs.model.supply_v.push_back(model.rail_v());
        runs.supply_spice_a += (-run.at(4, t) - kOtherA) / static_cast<double>(count);
    }
    runs.supply_model_a = stage.mean_choke_a(start_s + end_s);
    return runs;
}

} // namespace yokedock::spice
