// SPDX-License-Identifier: MIT
#include "host/cli/trip_parts.hpp"
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

using enum wire::StopCause;
using enum record::Section;
using enum record::PartRole;

struct Suspect {
    wire::StopCause cause;
    record::Section section;
    record::PartRole role;
};

/// What fails most often stands first (common practice, no source).
constexpr Suspect kSuspects[] = {
    {over_current, kVerticalOutput, kOutputIc},
    {over_current, kLineOutput, kOutputTransistor},
    {over_current, kLineOutput, kDamper},
    {over_current, kVerticalYoke, kYokeCoil},
    {over_current, kHorizontalYoke, kYokeCoil},
    {over_current, kSupply, kDecouplingCapacitor},
    {supply_current, kVerticalOutput, kOutputIc},
    {supply_current, kLineOutput, kOutputTransistor},
    {supply_current, kVerticalYoke, kYokeCoil},
    {supply_current, kHorizontalYoke, kYokeCoil},
    {supply_current, kVerticalOutput, kCouplingCapacitor},
    {supply_high, kSupply, kRegulator},
    {supply_high, kSupply, kMainsTransformer},
    {supply_low, kSupply, kFuse},
    {supply_low, kSupply, kRectifier},
    {supply_low, kSupply, kReservoir},
    {supply_low, kSupply, kRegulator},
    {output_high, kVerticalYoke, kConnector},
    {output_high, kVerticalOutput, kDampingResistor},
    {output_high, kVerticalOutput, kOutputIc},
    {output_low, kVerticalOutput, kOutputIc},
    {output_low, kVerticalOutput, kCouplingCapacitor},
    {retrace_peak, kLineOutput, kRetraceCapacitor},
    {retrace_peak, kHorizontalYoke, kConnector},
    {heatsink, kVerticalOutput, kOutputIc},
    {heatsink, kThermal, kHeatSink},
    {load_current, kVerticalYoke, kYokeCoil},
    {load_current, kVerticalYoke, kConnector},
    {load_current, kHorizontalYoke, kYokeCoil},
    {load_lost, kVerticalYoke, kConnector},
    {load_lost, kVerticalOutput, kCouplingCapacitor},
    {load_lost, kHorizontalYoke, kConnector},
    {load_lost, kLineOutput, kSCapacitor},
    {field_retrace_missing, kVerticalOscillator, kOscillatorIc},
    {field_retrace_missing, kVerticalOutput, kOutputIc},
    {field_retrace_missing, kVerticalYoke, kConnector},
    {line_retrace_missing, kLineOscillator, kOscillatorIc},
    {line_retrace_missing, kLineDriver, kDriverTransistor},
    {line_retrace_missing, kLineOutput, kOutputTransistor},
    {rail_not_up, kSupply, kFuse},
    {rail_not_up, kVerticalOutput, kOutputIc},
    {rail_not_up, kLineOutput, kOutputTransistor},
    {rail_not_up, kSupply, kDecouplingCapacitor},
};

} // namespace

std::vector<std::string> suspects(wire::StopCause cause, const record::Profile& profile) {
    std::vector<std::string> out;
    for (const Suspect& suspect : kSuspects) {
        if (suspect.cause != cause) {
            continue;
        }
        for (const record::ProfilePart* part : find_parts(profile, suspect.section, suspect.role)) {
            out.push_back(fmt::format("{} ({}, {})", part->designator, word_of(suspect.section),
                                      word_of(suspect.role)));
        }
    }
    return out;
}

} // namespace yokedock::cli
