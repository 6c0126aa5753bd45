// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_parts.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {
namespace {

using analysis::Figure;
using analysis::FigureStatus;

// A ramp's size goes with the length of its period: well below any tolerance of size.
constexpr double kRateShare = 1e-3;
// Copper gains 0.39 % of its resistance per kelvin: 10 K of the heat sink are a warm board beside a
// cold one. Common practice, no source.
constexpr double kWarmerC = 10;
// No board runs from less: common practice, no source.
constexpr double kNoRailV = 3;

bool is_named(const std::string& standard) {
    return !standard.empty() && standard != "free";
}

std::string named(const std::string& text) {
    return text.empty() ? "not known" : text;
}

class Judge {
  public:
    Judge(const Measurement& record, const Measurement& reference, const CompareOptions& options,
          Bearing& bearing)
        : a_(record), b_(reference), options_(options), bearing_(bearing) {}

    void sync() {
        const Circumstances& a = a_.under;
        const Circumstances& b = b_.under;
        if (a.sync_on != b.sync_on && !a.imported && !b.imported) {
            const Measurement& with = a.sync_on ? a_ : b_;
            const Measurement& without = a.sync_on ? b_ : a_;
            stop_both("sync", fmt::format("{} was measured with sync, {} without", with.name,
                                          without.name));
            return;
        }
        if (is_named(a.standard) && is_named(b.standard) && a.standard != b.standard) {
            stop_both("sync", fmt::format("the sync of {} is {}, that of {} is {}", a_.name,
                                          a.standard, b_.name, b.standard));
            return;
        }
        const bool lines = rate("line rate", a.line_rate_hz, b.line_rate_hz, 1);
        const bool fields = rate("field rate", a.field_rate_hz, b.field_rate_hz, 0);
        if (lines && fields) {
            add("sync", ConditionState::kEqual,
                fmt::format("same rates: {:.2f} Hz line, {:.3f} Hz field{}", a.line_rate_hz,
                            a.field_rate_hz, is_named(a.standard) ? " (" + a.standard + ")" : ""));
        }
    }

    void lock() {
        if (a_.under.imported && b_.under.imported && !a_.under.sync_on && !b_.under.sync_on) {
            add(kLockCondition, ConditionState::kUnknown,
                "no sync was recorded (sync_v), so nobody knows whether the boards were locked: "
                "their rates are compared, and their ramps by parts of their own trace");
        }
        for (const Axis axis : {Axis::kVertical, Axis::kHorizontal}) {
            const char* name = axis == Axis::kVertical ? "v_locked" : "h_locked";
            const Figure* a = analysis::find_figure(a_.figures, name);
            const Figure* b = analysis::find_figure(b_.figures, name);
            const auto known = [](const Figure* f) {
                return f != nullptr && f->status == FigureStatus::kMeasured;
            };
            if (known(a) && known(b) && a->value != b->value) {
                bar(bearing_.no_window_figures[index_of(axis)],
                    fmt::format("one is locked to sync, the other ({}) is not, so they are judged "
                                "over different windows",
                                a->value == 1 ? b_.name : a_.name));
            }
        }
    }

    void bench() {
        const Circumstances& a = a_.under;
        const Circumstances& b = b_.under;
        if (a.simulated != b.simulated) {
            add("bench", ConditionState::kOther,
                fmt::format("{} is of the SIMULATED bench, {} is not", (a.simulated ? a_ : b_).name,
                            (a.simulated ? b_ : a_).name));
            return;
        }
        if (options_.same_instruments) {
            add("instruments", ConditionState::kEqual,
                "same instruments and settings, as you said: errors of gain, zero and clock drop "
                "out");
            return;
        }
        if (!a.imported && !b.imported && (a.bench.empty() || b.bench.empty())) {
            add("bench", ConditionState::kUnknown,
                "whether it is one bench is not known (no serial number): errors of gain, zero and "
                "clock are counted in full (--same-instruments if it is one)");
        } else if (a.bench.empty() || b.bench.empty()) {
            add("instruments", ConditionState::kUnknown,
                "an oscilloscope's file does not tell which instruments it came from: errors of "
                "gain, zero and clock are counted in full (--same-instruments if they were the "
                "same)");
        } else if (a.bench != b.bench) {
            add("bench", ConditionState::kOther,
                fmt::format(
                    "different benches ({}, {}): errors of gain, zero and clock are counted "
                    "in full",
                    a.bench, b.bench));
        } else if (a.scale != b.scale) {
            add("bench", ConditionState::kOther,
                fmt::format("{} was calibrated anew between {} and {}: errors of gain, zero and "
                            "clock are counted in full",
                            a.bench, b_.name, a_.name));
        } else {
            add("bench", ConditionState::kEqual,
                fmt::format("same bench ({}, {}): errors of gain, zero and clock drop out", a.bench,
                            a.calibrated ? "calibrated" : "not calibrated"));
            return;
        }
        bearing_.same_scale = false;
    }

    void load() {
        coil("vertical load", a_.under.vertical_coil, b_.under.vertical_coil);
        coil("horizontal load", a_.under.horizontal_coil, b_.under.horizontal_coil);
    }

    void board() {
        const std::string& a = a_.under.board;
        const std::string& b = b_.under.board;
        if (!a.empty() && !b.empty() && a != b) {
            add("board", ConditionState::kOther,
                fmt::format("{} names the board type {}, {} names {}", a_.name, a, b_.name, b));
        }
    }

    void warmth() {
        const Figure* a = analysis::find_figure(a_.figures, "heatsink_c");
        const Figure* b = analysis::find_figure(b_.figures, "heatsink_c");
        const auto known = [](const Figure* f) {
            return f != nullptr && f->status == FigureStatus::kMeasured;
        };
        if (!known(a) || !known(b)) {
            add("warmth", ConditionState::kUnknown,
                "whether both boards were equally warm was not measured");
            return;
        }
        const double more = a->value - b->value;
        const std::string both = fmt::format("heat sink {:.0f} degC in {}, {:.0f} degC in {}",
                                             a->value, a_.name, b->value, b_.name);
        if (std::abs(more) > kWarmerC) {
            add("warmth", ConditionState::kOther,
                both + ": warm against cold; size and retrace change with the coil's copper");
        } else {
            add("warmth", ConditionState::kEqual, "equally warm: " + both);
        }
    }

    void power() {
        for (const Measurement* m : {&a_, &b_}) {
            const Figure* rail = analysis::find_figure(m->figures, "supply_v");
            if (rail != nullptr && rail->status == FigureStatus::kMeasured &&
                rail->value < kNoRailV) {
                add("power", ConditionState::kOther,
                    fmt::format("the rail of {} stood at {:.2f} V: the board had no power, or the "
                                "bench does not read its rail",
                                m->name, rail->value));
            }
        }
    }

    void completeness() {
        for (const Measurement* m : {&a_, &b_}) {
            if (!m->under.complete) {
                add("whole", ConditionState::kOther,
                    fmt::format("{} is incomplete: its measurement was cut off", m->name));
            }
        }
    }

  private:
    void add(const char* what, ConditionState state, const std::string& text, bool stops = false) {
        const bool known = std::any_of(bearing_.conditions.begin(), bearing_.conditions.end(),
                                       [&](const Condition& c) { return c.text == text; });
        if (!known) {
            bearing_.conditions.push_back({what, state, text, stops});
        }
    }
    static void bar(std::string& reason, const std::string& text) {
        reason = reason.empty() ? text : reason;
    }
    void stop_both(const char* what, const std::string& text) {
        add(what, ConditionState::kOther,
            text + ": the boards cannot be compared; measure both at the same sync", true);
        bar(bearing_.no_sync_figures[0], text);
        bar(bearing_.no_sync_figures[1], text);
    }

    /// True when both are known and equal.
    bool rate(const char* what, double a, double b, std::size_t axis) {
        if (!(a > 0) || !(b > 0)) {
            add("sync", ConditionState::kUnknown,
                fmt::format("the {} fed to {} is not known: make sure that it was the same", what,
                            a > 0 ? b_.name : a_.name));
            return false;
        }
        if (std::abs(a / b - 1) > kRateShare) {
            const std::string text = fmt::format("the {} is {:.2f} Hz in {}, {:.2f} Hz in {}", what,
                                                 a, a_.name, b, b_.name);
            add("sync", ConditionState::kOther,
                text + ": what depends on it cannot be compared; measure both at the same rates",
                true);
            bar(bearing_.no_sync_figures[axis], text);
            return false;
        }
        return true;
    }

    void coil(const char* what, const Circumstances::Coil& a, const Circumstances::Coil& b) {
        const auto text = [](const Circumstances::Coil& c) {
            return fmt::format("{}, {}",
                               c.inductance_h ? fmt::format("{:.4g} mH", *c.inductance_h * 1e3)
                                              : "inductance not known",
                               c.resistance_ohm ? fmt::format("{:.3g} ohm", *c.resistance_ohm)
                                                : "resistance not known");
        };
        const bool a_known = a.inductance_h && a.resistance_ohm;
        const bool b_known = b.inductance_h && b.resistance_ohm;
        if (!a_known || !b_known) {
            add("load", ConditionState::kUnknown,
                fmt::format("{} of {} is not stated in its profile: make sure that both had the "
                            "same (yokedock check)",
                            what, named(a_known ? b_.name : a_.name)));
            return;
        }
        const double share = std::max(a.tolerance_pct, b.tolerance_pct) / 100;
        const auto near = [&](double x, double y) {
            return std::abs(x - y) <= share * std::max(x, y);
        };
        const bool same =
            near(*a.inductance_h, *b.inductance_h) && near(*a.resistance_ohm, *b.resistance_ohm);
        add("load", same ? ConditionState::kEqual : ConditionState::kOther,
            same ? fmt::format("same {} by the profiles ({})", what, text(a))
                 : fmt::format("{} {} in {}, {} in {}: size and retrace differ by that alone", what,
                               text(a), a_.name, text(b), b_.name));
    }

    const Measurement& a_;
    const Measurement& b_;
    const CompareOptions& options_;
    Bearing& bearing_;
};

} // namespace

Bearing judge_conditions(const Measurement& record, const std::vector<Measurement>& references,
                         const CompareOptions& options) {
    Bearing bearing;
    bearing.same_scale = true;
    for (const Measurement& reference : references) {
        Judge judge(record, reference, options, bearing);
        judge.sync();
        judge.lock();
        judge.bench();
        judge.load();
        judge.board();
        judge.warmth();
        judge.power();
        judge.completeness();
    }
    return bearing;
}

} // namespace yokedock::diagnose
