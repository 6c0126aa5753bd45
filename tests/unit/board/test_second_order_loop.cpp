// SPDX-License-Identifier: MIT
// The board's line loop where it is a textbook second-order loop: sine detector, a gate so narrow
// that it samples, a natural frequency so low that sampling does not show. Pull-in times against
// the computed table of MEASUREMENTS.md section 4 (type 2, phase 0: time to the last slip, in units
// of 1/wn), and a loop with the limits of a component data sheet.
#include "afc_loop.hpp"
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include "phase_plane.hpp"
#include "spice.hpp"
#include <fmt/format.h>
#include <numbers>

using namespace yokedock::sim;

namespace {

constexpr double kTurn = 2 * std::numbers::pi;

struct TableRow {
    double zeta;
    double dw_over_wn;
    double wn_time;
};
constexpr TableRow kTable[] = {
    {0.5, 12, 135.1}, {0.707, 8, 38.8}, {0.707, 12, 95.2}, {0.8, 12, 84.2}, {1.0, 12, 64.1}};

double detector_peak_v(const BoardParameters& p) {
    // A half sine integrates to 2/pi of its box; the sine swings half of that either way.
    return p.line_afc_retrace_ratio * Loop::kPeakV * Loop::kRetraceS / std::numbers::pi /
           (p.line_afc_shaper_ohm * p.line_afc_shaper_f);
}

double free_hz(const BoardParameters& p) {
    return p.line_oscillator_reference_v /
           ((p.line_oscillator_fixed_ohm + p.line_oscillator_hold_ohm) *
            p.line_oscillator_capacitor_f * p.line_oscillator_swing_v);
}

/// rad/s per volt of control.
double rate_per_volt(const BoardParameters& p) {
    return kTurn / (p.line_oscillator_control_ohm * p.line_oscillator_capacitor_f *
                    p.line_oscillator_swing_v);
}

BoardParameters sine_loop() {
    BoardParameters p = quiet_board();
    p.line_afc_sine = 1;
    p.line_afc_leak_ohm = 1e12; // the gated detector is the only load of the filter
    p.line_oscillator_tempco_per_k = 0;
    return p;
}

/// Type 2 for as long as a pull-in lasts: the detector is a current source (1 Gohm), and so little
/// leaks back through it that the loop's gain at standstill is 10^8 rad/s.
BoardParameters type_two_loop(double wn, double zeta, double sync_hz) {
    BoardParameters p = sine_loop();
    p.sync_differentiator_f = 7.5e-12; // gate 0.2 us, 1.1 degrees of the line
    p.line_afc_retrace_ratio = 2.7;
    p.line_oscillator_control_ohm = 270;
    p.line_afc_detector_ohm = 1e9;
    p.line_afc_filter_f = 200e-12;
    const double siemens = gate_width_s(p) * sync_hz / p.line_afc_detector_ohm;
    const double gain = rate_per_volt(p) * detector_peak_v(p);
    p.line_afc_lag_f = gain * siemens / (wn * wn);
    p.line_afc_lag_ohm = 2 * zeta / (wn * p.line_afc_lag_f);
    return p;
}

/// Phase of the detector's gate against its zero, turns, continuous through slips.
class SlipCounter {
  public:
    SlipCounter(Loop& loop, const BoardParameters& p) : loop_(loop) {
        gate_s_ = p.sync_line_delay_s + 0.5 * std::min(gate_width_s(p), Loop::kSyncS);
        zero_s_ = gate_s_ - Loop::kStorageS - 0.5 * Loop::kRetraceS;
    }
    /// Sync begins some lines on, its gate `turns` after the zero of the detector.
    void begin(double turns) {
        const double period_s = 1 / loop_.afc().free_running_hz();
        loop_.begin_sync(loop_.last_cycle_s() + 5 * period_s - zero_s_ + turns * period_s);
    }
    [[nodiscard]] double turns(double period_s) const {
        return (loop_.phase_s() - zero_s_) / period_s;
    }

  private:
    Loop& loop_;
    double gate_s_;
    double zero_s_;
};

/// Seconds from sync applied to the last slip.
double board_last_slip_s(const BoardParameters& p, double dw, double end_s) {
    Loop loop(p);
    loop.run(0.02);
    SlipCounter counter(loop, p);
    counter.begin(0);
    const double begin_s = loop.next_sync_s();
    const double period_s = kTurn / (kTurn * loop.afc().free_running_hz() + dw);
    double last = 0;
    loop.sync_line(period_s);
    double slip = std::floor(counter.turns(period_s) + 0.5);
    while (loop.next_sync_s() < begin_s + end_s) {
        loop.sync_line(period_s);
        const double now = std::floor(counter.turns(period_s) + 0.5);
        last = now != slip ? loop.next_sync_s() - begin_s : last;
        slip = now;
    }
    return last;
}

/// LM1391 data sheet: hold +-900 Hz, pull-in +-300 Hz, typical figures without a spread.
constexpr double kSheetHoldHz = 900;
constexpr double kSheetPullInHz = 300;

/// A loop on the board that has them. Hold is the gain K; pull-in by sqrt(2 (2 zeta wn K - wn^2))
/// (approximation for high-gain loops, in any text on phase-locked loops, from memory). It knows
/// nothing of the direct capacitor, whose lag at the beat costs 6 %: hence 320 Hz here.
BoardParameters sheet_board() {
    BoardParameters p = sine_loop();
    const double gain = kTurn * kSheetHoldHz;
    const double ratio = 320 / kSheetHoldHz;
    const double wn = gain * (0.5 - std::sqrt(0.25 - 0.5 * ratio * ratio)); // at zeta 0.5
    const double lag_s = gain / (wn * wn);
    const double lead_s = (wn * lag_s - 1) / gain;
    const double duty = gate_width_s(p) * free_hz(p);
    const double x = std::numbers::pi * duty; // best mean of a sine over the gate
    const double peak_v = gain / rate_per_volt(p) * x / std::sin(x);
    p.line_afc_retrace_ratio *= peak_v / detector_peak_v(p);
    p.line_afc_lag_ohm = lead_s / p.line_afc_lag_f;
    p.line_afc_detector_ohm = (lag_s / p.line_afc_lag_f - p.line_afc_lag_ohm) * duty;
    return p;
}

/// The same loop as an equation: the gated resistor is its mean, all the time.
LagLead sheet_equation(const BoardParameters& p) {
    const double duty = gate_width_s(p) * free_hz(p);
    return {kTurn * kSheetHoldHz, p.line_afc_detector_ohm / duty, p.line_afc_filter_f,
            p.line_afc_lag_ohm, p.line_afc_lag_f};
}

constexpr double kQuietS = 0.3; // no slip for so long: locked; beats at these limits take 10 ms
constexpr double kGiveUpS = 2.0;

bool board_pulls_in(const BoardParameters& p, double off_hz, double turns) {
    Loop loop(p);
    loop.run(0.02);
    SlipCounter counter(loop, p);
    counter.begin(turns);
    const double begin_s = loop.next_sync_s();
    const double period_s = 1 / (loop.afc().free_running_hz() + off_hz);
    double slip = NAN;
    double last_s = begin_s;
    while (loop.next_sync_s() < begin_s + kGiveUpS) {
        loop.sync_line(period_s);
        const double now = std::floor(counter.turns(period_s) + 0.5);
        last_s = now == slip ? last_s : loop.next_sync_s();
        slip = now;
        if (loop.next_sync_s() - last_s > kQuietS) {
            return true;
        }
    }
    return false;
}

bool equation_pulls_in(LagLead loop, double off_hz, double turns) {
    loop.dw = kTurn * off_hz;
    loop.y[0] = kTurn * turns;
    constexpr double kStepS = 2e-5;
    double slip = NAN;
    double last_s = 0;
    for (double t = 0; t < kGiveUpS; t += kStepS) {
        loop.step(kStepS);
        const double now = slip_number(loop.y[0]);
        last_s = now == slip ? last_s : t;
        slip = now;
        if (t - last_s > kQuietS) {
            return true;
        }
    }
    return false;
}

/// Farthest offset that is found from each of four phases, to 1 Hz.
template <class PullsIn> double pull_in_hz(PullsIn pulls_in, double side) {
    double good = 0.5 * kSheetPullInHz;
    double bad = kSheetHoldHz;
    while (bad - good > 1) {
        const double middle = 0.5 * (good + bad);
        bool all = true;
        for (int k = 0; k < 4 && all; ++k) {
            all = pulls_in(side * middle, 0.25 * k + 0.1);
        }
        (all ? good : bad) = middle;
    }
    return good;
}

} // namespace

TEST_CASE("A second-order loop pulls in after the time computed for it, within 2 percent",
          "[long]") {
    // Near a last slip the loop hangs by the unstable phase: 0.1 % of damping moves the rows of 12
    // wn by up to 2.6 %, so the loop has to be the textbook one to 1e-4. At 10 rad/s a line turns
    // it by 0.0006 rad. The board then agrees to 0.5 % (2 % is asked for); the table's own digits
    // are 0.13 %.
    constexpr double kWn = 10;
    for (const TableRow& row : kTable) {
        for (const double side : {1.0, -1.0}) {
            const double dw = side * row.dw_over_wn * kWn;
            const BoardParameters p =
                type_two_loop(kWn, row.zeta, free_hz(quiet_board()) + dw / kTurn);
            const double wn_time = kWn * board_last_slip_s(p, dw, 1.5 * row.wn_time / kWn);
            CAPTURE(row.zeta, row.dw_over_wn, side, wn_time);
            CHECK(wn_time == Approx(row.wn_time).epsilon(0.005));
        }
    }
}

TEST_CASE("The same equation integrated directly and in ngspice gives the table") {
    for (const TableRow& row : kTable) {
        const TypeTwo loop{row.zeta, row.dw_over_wn};
        CAPTURE(row.zeta, row.dw_over_wn);
        CHECK(last_slip(loop, 1e-3, 1.5 * row.wn_time) ==
              Approx(row.wn_time).margin(0.06)); // its digits
    }
    const TableRow& row = kTable[1]; // the one that hangs least
    // Two capacitors of 1 F as integrators, in units of 1/wn.
    const std::string circuit = fmt::format(
        "bphi 0 phi i={}-v(x)-{}*sin(v(phi))\ncphi phi 0 1 ic=0\n"
        ".options reltol=1e-6 abstol=1e-9 vntol=1e-9\nbx 0 x i=sin(v(phi))\ncx x 0 1 ic=0\n",
        row.dw_over_wn, 2 * row.zeta);
    const SpiceRun run = run_spice(circuit, {"v(phi)"}, 1e-3, 50, 0);
    INFO(run.log);
    REQUIRE(run.time_s.size() > 1000);
    double last = 0;
    for (std::size_t k = 1; k < run.time_s.size(); ++k) {
        if (slip_number(run.value[0][k]) != slip_number(run.value[0][k - 1])) {
            last = run.time_s[k];
        }
    }
    // Trapezoidal rule in steps of 1e-3 at up to 8 rad per unit: (8e-3)^2 / 12 = 5e-6 of the beat;
    // what is left is ngspice's own tolerance.
    CHECK(last == Approx(row.wn_time).epsilon(0.005));
}

TEST_CASE("A loop with the hold and pull-in ranges of a component data sheet has them") {
    const BoardParameters p = sheet_board();
    const LagLead sheet = sheet_equation(p);
    const double free = free_hz(p);
    const double exact_hz = pull_in_hz(
        [&](double off_hz, double turns) { return equation_pulls_in(sheet, off_hz, turns); }, 1);
    // The sheet's 300 Hz is a typical figure of one digit, without a spread: what rounds to it (250
    // to 350 Hz) would do. The equation lies 0.3 % off; 2 % leaves room for the component values.
    CHECK(exact_hz == Approx(kSheetPullInHz).epsilon(0.02));
    for (const double side : {1.0, -1.0}) {
        const double hold_hz = side * (hold_limit_hz(p, side * kSheetHoldHz) - free);
        const double pull_hz = pull_in_hz(
            [&](double off_hz, double turns) { return board_pulls_in(p, off_hz, turns); }, side);
        CAPTURE(side, hold_hz, pull_hz, exact_hz);
        // The mean of the sine over the gate changes with the rate by 0.02 %; the sweep of 32 Hz/s
        // outruns the filter (51 ms) by 1.6 Hz: 0.2 %.
        CHECK(hold_hz == Approx(kSheetHoldHz).epsilon(0.005));
        // 300 Hz more or less of sync changes the gate's duty, so the filter's source, by 1.9 %;
        // pull-in goes with its root: 1 % up and 1 % down. Search steps of 1 Hz: 0.3 % twice.
        CHECK(pull_hz == Approx(exact_hz).epsilon(0.02));
        CHECK(pull_hz == Approx(kSheetPullInHz).epsilon(0.03));
        CHECK(pull_hz < hold_hz);
    }
}
