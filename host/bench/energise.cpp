// SPDX-License-Identifier: MIT
#include "host/bench/energise.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/bench/wait_ready.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::bench {
namespace {

constexpr double kSoftStartOhmU = 0.05; // relative: a 5 % part
constexpr double kRailU = 0.005;        // relative: an uncalibrated channel

using wire::BenchState;
using wire::StopCause;

/// Load relays of an earlier run stay closed for half a second after it.
constexpr double kRelayWaitS = 1.5;
constexpr double kContactS = 0.05;
constexpr double kSettleMarginS = 0.05;
/// A zero that is off by more than this many standard uncertainties of the front end, and a current
/// that flows with the supply off, mean that no reading can be trusted.
constexpr double kZeroDoubt = 5;

std::uint8_t number(BenchState state) {
    return static_cast<std::uint8_t>(state);
}

/// One start; its members are the stages.
class Start {
  public:
    Start(const Bench& bench, const EnergiseOptions& options) : bench_(bench), o_(options) {}

    EnergiseOutcome run() {
        const bool up = prepare() && check() && start() && bypass() && settle();
        if (!up) {
            switch_off();
        }
        return std::move(out_);
    }

  private:
    // ---- the stages; false: out_.error says why

    bool prepare() {
        stage_ = EnergiseStage::kOff;
        if (!bench_.plan() || (!bench_.sync_on() && !o_.free_run)) {
            return fail({ErrorKind::kUsage,
                         "the supply was not switched on: no sync is sent; expected a board's line "
                         "output to be fed sync from its first line on; set and send sync first"});
        }
        const auto status = bench_.status();
        if (!status) {
            return fail(status.error());
        }
        begin_ = status.value().time;
        const auto off = bench_.power_off(); // also acknowledges a trip of before
        if (!off) {
            return fail(off.error());
        }
        StageReport report = measure_at_rest();
        if (out_.error || !zeros_good(report)) {
            return false;
        }
        if (const Status set = bench_.set_guard(o_.guard.codes); !set) {
            return fail(set.error());
        }
        done(std::move(report));
        return true;
    }

    bool check() {
        if (!request(BenchState::checked)) {
            return false;
        }
        stage_ = EnergiseStage::kChecked;
        if (!watch(kContactS, BenchState::checked)) {
            return false;
        }
        done(measure());
        return !out_.error;
    }

    bool start() {
        if (!request(BenchState::starting)) {
            return false;
        }
        stage_ = EnergiseStage::kStarting;
        const double reading_s = o_.read ? kReadingS : 0;
        if (!watch(std::max(0.0, o_.guard.soft_start_s - reading_s), BenchState::starting)) {
            return false;
        }
        StageReport report = measure();
        if (out_.error) {
            return false;
        }
        const auto current = report.readings[static_cast<std::size_t>(ChannelId::supply_a)];
        const auto rail = report.readings[static_cast<std::size_t>(ChannelId::supply_v)];
        const auto loads = judge_soft_start_loads(o_.loads, report.readings, report.swing);
        done(std::move(report));
        return feed_good(rail, current) && idle_current_good(current) && loads_good(loads);
    }

    bool bypass() {
        if (!request(BenchState::live)) {
            return false;
        }
        stage_ = EnergiseStage::kLive;
        done(measure());
        return !out_.error;
    }

    bool settle() {
        if (!watch(o_.guard.codes.settle_ms / 1000.0 + kSettleMarginS, BenchState::live)) {
            return false;
        }
        stage_ = EnergiseStage::kSettled;
        StageReport report = measure();
        if (out_.error || !watch(0, BenchState::live)) {
            return false;
        }
        done(std::move(report));
        return true;
    }

    // ---- parts of them

    /// Asks for the next stage. What only needs time is waited for.
    bool request(BenchState wanted) {
        const double rail_s = wanted == BenchState::checked ? kRailWaitS : kRelayWaitS;
        const auto asked = ask_until_ready(
            bench_, [&] { return bench_.power_on(wanted); },
            [&](StopCause cause) {
                return cause == StopCause::relays_settling ? kRelayWaitS
                       : cause == StopCause::rail_on || cause == StopCause::rail_not_up ? rail_s
                                                                                        : -1.0;
            });
        if (asked.answer) {
            return true;
        }
        return asked.refused ? refused(asked.answer.error(), asked.against)
                             : fail(asked.answer.error());
    }

    /// Lets device time pass; false when the bench left the state meanwhile.
    bool watch(double seconds, BenchState state) {
        const auto begin = bench_.status();
        if (!begin) {
            return fail(begin.error());
        }
        for (;;) {
            const auto now = bench_.status();
            if (!now) {
                return fail(now.error());
            }
            if (now.value().state != number(state)) {
                return left();
            }
            if (static_cast<double>(now.value().time - begin.value().time) / clock_hz() >=
                seconds) {
                return true;
            }
            if (const Status paused = bench_.requester().pause(kReadyPoll); !paused) {
                return fail(paused.error());
            }
        }
    }

    StageReport measure() {
        StageReport report;
        report.stage = stage_;
        if (!o_.read) {
            report.not_measured = "no readings were asked for";
            return report;
        }
        auto readings = o_.read();
        if (readings) {
            report.readings = readings.value().mean;
            report.swing = readings.value().swing;
            return report;
        }
        report.not_measured = readings.error().text;
        if (readings.error().kind == ErrorKind::kLink ||
            readings.error().kind == ErrorKind::kStopped) {
            (void)fail(readings.error());
        } else if (const auto now = bench_.power(); now && stage_ != EnergiseStage::kOff &&
                                                    now.value().state != number(state_of_stage())) {
            (void)left();
        }
        return report;
    }

    BenchState state_of_stage() const {
        switch (stage_) {
        case EnergiseStage::kOff:
            return BenchState::idle;
        case EnergiseStage::kChecked:
            return BenchState::checked;
        case EnergiseStage::kStarting:
            return BenchState::starting;
        case EnergiseStage::kLive:
        case EnergiseStage::kSettled:
            break;
        }
        return BenchState::live;
    }

    void done(StageReport report) {
        if (out_.error) {
            return;
        }
        if (const auto status = bench_.status()) {
            report.time_s = static_cast<double>(status.value().time - begin_) / clock_hz();
        }
        out_.stages.push_back(report);
        if (o_.on_stage) {
            o_.on_stage(out_.stages.back());
        }
    }

    /// What a current channel may read with the supply off.
    static double most_at_rest(const Channel& row) {
        return kZeroDoubt * std::hypot(row.zero_tolerance_uv, kCodeV * 1e6 / 2) /
               row.microvolts_per_unit;
    }

    /// A current channel that reads more than its zero may be off; nothing: none does.
    static std::optional<ChannelId> flowing(const StageReport& report) {
        for (const ChannelId id : {ChannelId::v_yoke_a, ChannelId::h_yoke_a, ChannelId::supply_a}) {
            const auto& value = report.readings[static_cast<std::size_t>(id)];
            if (value && std::abs(*value) > most_at_rest(kChannels[static_cast<std::size_t>(id)])) {
                return id;
            }
        }
        return {};
    }

    /// Readings once the currents of an earlier run have died down, or after kRailWaitS.
    StageReport measure_at_rest() {
        for (;;) {
            StageReport report = measure();
            if (out_.error || !flowing(report)) {
                return report;
            }
            const auto now = bench_.status();
            if (!now) {
                (void)fail(now.error());
                return report;
            }
            if (static_cast<double>(now.value().time - begin_) / clock_hz() > kRailWaitS) {
                return report;
            }
            if (const Status paused = bench_.requester().pause(kReadyPoll); !paused) {
                (void)fail(paused.error());
                return report;
            }
        }
    }

    /// With the supply off nothing flows, and the heat sink has a temperature.
    bool zeros_good(const StageReport& report) {
        if (const auto id = flowing(report)) {
            const Channel& row = kChannels[static_cast<std::size_t>(*id)];
            return fail(
                {ErrorKind::kRefused,
                 fmt::format(
                     "the supply was not switched on: with it off for {:g} s {} still reads "
                     "{:.3f} {}; expected 0 +- {:.3f}; see that nothing else feeds the "
                     "board and that its reservoirs are empty; if it stays, the zero of "
                     "that channel of the bench is off: mend it",
                     kRailWaitS, row.name, *report.readings[static_cast<std::size_t>(*id)],
                     row.unit, most_at_rest(row))});
        }
        const auto at = static_cast<std::size_t>(ChannelId::heatsink_c);
        const auto heat = report.readings[at];
        const double code = heat ? code_of(ChannelId::heatsink_c, *heat) : 0;
        if (heat && (code < o_.guard.codes.low[at] || code > o_.guard.codes.high[at])) {
            const bool hot = code < o_.guard.codes.low[at];
            out_.trip =
                Trip{hot ? StopCause::heatsink : StopCause::heatsink_sensor, stage_word(stage_),
                     TripReading{ChannelId::heatsink_c,
                                 static_cast<std::uint16_t>(std::lround(code)), false},
                     0, false};
            return fail({ErrorKind::kRefused, trip_text(*out_.trip)});
        }
        return true;
    }

    /// What feeds the soft start: rail and the drop across the resistor. Judged before the resistor
    /// is bypassed, for then it would be the rail.
    bool feed_good(const std::optional<double>& rail, const std::optional<double>& current) {
        if (!rail || !current || !o_.supply_max_v) {
            return true;
        }
        const double drop_v = kSoftStartOhm * *current;
        const double feed_v = *rail + drop_v;
        const double u_v = std::hypot(kSoftStartOhmU * drop_v, kRailU * *rail);
        if (feed_v - 2 * u_v <= *o_.supply_max_v) {
            return true;
        }
        const auto code = std::lround(code_of(ChannelId::supply_v, *rail));
        out_.trip = Trip{StopCause::supply_high, stage_word(stage_),
                         TripReading{ChannelId::supply_v, static_cast<std::uint16_t>(code), false},
                         0, true};
        return fail(
            {ErrorKind::kRefused,
             fmt::format(
                 "the supply was switched off in stage \"starting\": what feeds the soft start is "
                 "{:.1f} V ({:.2f} V at the rail and {:.2f} A through {} ohm); expected at most "
                 "supply_max_v, {:.1f} V; {}",
                 feed_v, *rail, *current, kSoftStartOhm, *o_.supply_max_v,
                 link::next_step_text(StopCause::supply_high))});
    }

    bool idle_current_good(const std::optional<double>& current) {
        if (!current || !o_.supply_idle_max_a || *current <= *o_.supply_idle_max_a) {
            return true;
        }
        const auto code = std::lround(code_of(ChannelId::supply_a, *current));
        out_.trip = Trip{StopCause::supply_current, stage_word(stage_),
                         TripReading{ChannelId::supply_a, static_cast<std::uint16_t>(code), false},
                         0, true};
        return fail({ErrorKind::kRefused,
                     fmt::format("the supply was switched off in stage \"starting\": at the end of "
                                 "the soft start the board draws {:.2f} A; expected at most "
                                 "supply_idle_max_a, {:.2f} A; {}",
                                 *current, *o_.supply_idle_max_a,
                                 link::next_step_text(StopCause::supply_current))});
    }

    bool loads_good(const std::optional<LoadFinding>& finding) {
        if (!finding) {
            return true;
        }
        const bool lost = finding->cause == StopCause::load_lost;
        const auto code =
            std::lround(code_of(finding->channel, finding->value) - code_of(finding->channel, 0));
        out_.trip =
            Trip{finding->cause, stage_word(stage_),
                 TripReading{finding->channel, static_cast<std::uint16_t>(code), lost}, 0, true};
        return fail(
            {ErrorKind::kRefused,
             fmt::format("the supply was switched off in stage \"starting\": {}; {}", finding->text,
                         lost ? link::next_step_text(finding->cause)
                              : "look for a shorted yoke or load, a wrong winding or "
                                "swapped plugs; measure the load with yokedock check")});
    }

    // ---- endings

    bool fail(Error error) {
        if (!out_.error) {
            out_.error = std::move(error);
        }
        return false;
    }

    /// The bench is no longer in the state it was in.
    bool left() {
        const auto answer = bench_.power();
        if (!answer) {
            return fail(answer.error());
        }
        out_.trip = trip_of(answer.value(), stage_word(stage_));
        return fail({ErrorKind::kRefused, trip_text(*out_.trip)});
    }

    /// A request was refused: by what stands against it, or because the bench has left its state.
    bool refused(const Error& error, std::optional<StopCause> against) {
        const auto now = bench_.power();
        if (now && now.value().state != number(state_of_stage())) {
            return left();
        }
        if (!against) {
            return fail(error);
        }
        out_.trip = Trip{};
        out_.trip->cause = *against;
        out_.trip->stage = stage_word(stage_);
        out_.trip->tripped = now && !supply_off(now.value()); // switched off because of it
        return fail({ErrorKind::kRefused, trip_text(*out_.trip)});
    }

    void switch_off() {
        const auto off = bench_.power_off();
        out_.off_confirmed = off && supply_off(off.value());
    }

    double clock_hz() const { return bench_.identity().clock_hz; }

    static constexpr double kReadingS = 0.1; ///< that a reading takes, about

    const Bench& bench_;
    const EnergiseOptions& o_;
    EnergiseOutcome out_;
    EnergiseStage stage_ = EnergiseStage::kOff;
    std::uint32_t begin_ = 0;
};

} // namespace

const char* stage_word(EnergiseStage stage) {
    switch (stage) {
#define X(id, word)                                                                                \
    case EnergiseStage::id:                                                                        \
        return word;
        YOKEDOCK_ENERGISE_STAGES(X)
#undef X
    }
    return ""; // the table is complete
}

EnergiseOutcome energise(const Bench& bench, const EnergiseOptions& options) {
    return Start(bench, options).run();
}

} // namespace yokedock::bench
