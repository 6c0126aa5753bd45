// SPDX-License-Identifier: MIT
#include "host/bench/power_limits.hpp"
#include "host/bench/channel_codes.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::bench {
namespace {

constexpr double kTop = kAdcCodes - 1; ///< as an upper limit: none
// What the device takes (firmware: Guard::check).
constexpr double kLeastStartMs = 100;
constexpr double kMostStartMs = 10000;
constexpr double kLeastRetraceMs = 20;
constexpr double kMostRetraceMs = 1000;

std::size_t at(ChannelId channel) {
    return static_cast<std::size_t>(channel);
}

/// A value at the limit reads as round(code): that code must be outside already.
double code_below(double code) {
    return std::ceil(code - 0.5) - 1;
}
double code_above(double code) {
    return std::floor(code + 0.5) + 1;
}

/// Limits to codes; keeps the first that is beyond what the bench can read.
class Codes {
  public:
    explicit Codes(wire::GuardLimits& codes) : codes_(codes) {
        for (std::size_t i = 0; i < wire::kGuardChannels; ++i) {
            codes.low[i] = 0;
            codes.high[i] = codes.start_high[i] = static_cast<std::uint16_t>(kTop);
        }
    }
    void most(const char* key, ChannelId channel, std::optional<double> value) {
        if (value) {
            codes_.high[at(channel)] = codes_.start_high[at(channel)] =
                checked(key, channel, *value, code_below(code_of(channel, *value)));
        }
    }
    void start_most(const char* key, ChannelId channel, double value) {
        codes_.start_high[at(channel)] =
            checked(key, channel, value, code_below(code_of(channel, value)));
    }
    void least(const char* key, ChannelId channel, std::optional<double> value) {
        if (value) {
            codes_.low[at(channel)] =
                checked(key, channel, *value, code_above(code_of(channel, *value)));
        }
    }
    std::uint16_t checked(const char* key, ChannelId channel, double value, double code) {
        if (code >= 0 && code < kTop) {
            return static_cast<std::uint16_t>(code);
        }
        if (!error_) {
            const auto& row = kChannels[at(channel)];
            error_ =
                Error{ErrorKind::kUsage,
                      fmt::format("limits.{} is {:.6g} {}; expected a value that channel {} can "
                                  "read ({} to {}); change it in the profile",
                                  key, value, row.unit, row.name, value_text(channel, 1),
                                  value_text(channel, kTop - 1))};
        }
        return 0;
    }
    const std::optional<Error>& error() const { return error_; }

  private:
    wire::GuardLimits& codes_;
    std::optional<Error> error_;
};

std::uint16_t swing_codes(ChannelId channel, std::optional<double> least_pp) {
    if (!least_pp) {
        return 0;
    }
    const double codes = code_of(channel, *least_pp) - code_of(channel, 0);
    return static_cast<std::uint16_t>(std::clamp(std::ceil(codes), 1.0, kTop));
}

void plan_times(const PowerLimits& limits, GuardPlan& plan) {
    const double wanted = limits.soft_start_ms.value_or(0);
    const double judged = std::clamp(wanted, kLeastStartMs, kMostStartMs - kStartGraceMs);
    if (judged != wanted) {
        plan.notes.push_back(fmt::format(
            "soft_start_ms is {:g}: judged after {:g} ms, what the bench can do", wanted, judged));
    }
    plan.soft_start_s = judged / 1000;
    plan.codes.start_ms = static_cast<std::uint16_t>(judged + kStartGraceMs);
    plan.codes.settle_ms = static_cast<std::uint16_t>(kSettleMs);
}

/// The device has one time for both inputs. That of the field must hold, for it is longer than a
/// field; a line that fails is then told after the same time, not sooner.
void plan_retrace(const PowerLimits& limits, GuardPlan& plan) {
    const std::optional<double>& field = limits.v_retrace_missing_ms;
    const std::optional<double>& line = limits.h_retrace_missing_ms;
    plan.codes.watch = static_cast<std::uint8_t>((field ? 1 : 0) | (line ? 2 : 0));
    const double wanted = field ? *field : line.value_or(kMostRetraceMs);
    const double ms = std::floor(std::clamp(wanted, kLeastRetraceMs, kMostRetraceMs));
    plan.codes.retrace_ms = static_cast<std::uint16_t>(ms);
    const auto note = [&](const char* key, const std::optional<double>& stated) {
        if (stated && std::floor(*stated) != ms) {
            plan.notes.push_back(
                fmt::format("{} is {:g}: the bench watches both retraces by one time, {:g} ms", key,
                            *stated, ms));
        }
    };
    note("v_retrace_missing_ms", field);
    note("h_retrace_missing_ms", line);
}

void plan_heatsink(const PowerLimits& limits, Codes& to, wire::GuardLimits& codes) {
    if (!limits.heatsink_max_c) {
        return;
    }
    // The hotter the thermistor, the lower its code.
    to.least("heatsink_max_c", ChannelId::heatsink_c, limits.heatsink_max_c);
    const auto open =
        static_cast<std::uint16_t>(code_below(code_of(ChannelId::heatsink_c, kOpenSensorC)));
    codes.high[at(ChannelId::heatsink_c)] = codes.start_high[at(ChannelId::heatsink_c)] = open;
}

Error missing_error(const std::vector<std::string>& missing) {
    std::string keys;
    for (const std::string& key : missing) {
        keys += (keys.empty() ? "limits." : ", limits.") + key;
    }
    return {ErrorKind::kUsage,
            fmt::format("the profile does not state {}; expected all limits without which the "
                        "bench may not switch a supply on; add them to the profile as in "
                        "docs/profile.md (yokedock profile new asks for them)",
                        keys)};
}

} // namespace

std::vector<std::string> missing_limits(const PowerLimits& limits) {
    std::vector<std::string> out;
#define X(member, needed, without)                                                                 \
    if (needed && !limits.member) {                                                                \
        out.push_back(#member);                                                                    \
    }
    YOKEDOCK_POWER_LIMITS(X)
#undef X
    return out;
}

Result<GuardPlan> plan_guard(const PowerLimits& limits) {
    if (const auto missing = missing_limits(limits); !missing.empty()) {
        return missing_error(missing);
    }
    GuardPlan plan;
    Codes to(plan.codes);
    using enum ChannelId;
    to.most("supply_max_v", supply_v, limits.supply_max_v);
    to.least("supply_min_v", supply_v, limits.supply_min_v);
    to.most("supply_max_a", supply_a, limits.supply_max_a);
    const double inrush = *limits.supply_max_v / kSoftStartOhm * (1 + kInrushMargin);
    to.start_most("supply_idle_max_a", supply_a, std::max(*limits.supply_idle_max_a, inrush));
    to.most("v_out_max_v", v_out_v, limits.v_out_max_v);
    to.least("v_out_min_v", v_out_v, limits.v_out_min_v);
    to.most("h_peak_max_v", h_peak_v, limits.h_peak_max_v);
    plan_heatsink(limits, to, plan.codes);
    plan.codes.rail_off = static_cast<std::uint16_t>(std::floor(code_of(supply_v, kRailOffV)));
    plan.codes.rail_up =
        std::max(plan.codes.rail_off,
                 to.checked("soft_start_min_v", supply_v, *limits.soft_start_min_v,
                            std::ceil(code_of(supply_v, *limits.soft_start_min_v) + 0.5)));
    const double reference = kReferenceUv * 1e-6;
    plan.codes.reference_low = static_cast<std::uint16_t>(
        std::ceil(code_of(ref_v, reference * (1 - kReferenceTolerance))));
    plan.codes.reference_high = static_cast<std::uint16_t>(
        std::floor(code_of(ref_v, reference * (1 + kReferenceTolerance))));
    plan.codes.span[0] = swing_codes(v_yoke_a, limits.v_yoke_least_pp_a);
    plan.codes.span[1] = swing_codes(h_yoke_a, limits.h_yoke_least_pp_a);
    plan_times(limits, plan);
    plan_retrace(limits, plan);
    plan.codes.strikes = kStrikes;
    plan.codes.loads = static_cast<std::uint8_t>((limits.vertical_load ? 1 : 0) |
                                                 (limits.horizontal_load ? 2 : 0));
    if (to.error()) {
        return *to.error();
    }
    for (const ChannelId channel : {supply_v, supply_a, v_out_v, heatsink_c}) {
        if (plan.codes.low[at(channel)] > plan.codes.high[at(channel)]) {
            return Error{ErrorKind::kUsage,
                         fmt::format("the limits of {} leave no code between them; expected the "
                                     "upper one above the lower; change them in the profile",
                                     kChannels[at(channel)].name)};
        }
    }
#define X(member, needed, without)                                                                 \
    if (!limits.member) {                                                                          \
        plan.unguarded.push_back(#member ": " without);                                            \
    }
    YOKEDOCK_POWER_LIMITS(X)
#undef X
    return plan;
}

} // namespace yokedock::bench
