// SPDX-License-Identifier: MIT
#include "host/record/trip_evidence.hpp"
#include "host/capture/supply_readings.hpp"
#include <algorithm>

namespace yokedock::record {
namespace {

/// Rail at the end of the soft start.
std::optional<double> start_rail_v(const PowerRecord& power) {
    for (const bench::StageReport& stage : power.stages) {
        if (stage.stage == bench::EnergiseStage::kStarting && stage.not_measured.empty()) {
            return stage.readings[static_cast<std::size_t>(ChannelId::supply_v)];
        }
    }
    return std::nullopt;
}

} // namespace

void drop_trip_samples(Record& record) {
    if (!record.raw) {
        return;
    }
    auto& captures = record.raw->captures;
    captures.erase(std::remove_if(captures.begin(), captures.end(),
                                  [](const capture::RawCapture& capture) {
                                      return capture.purpose == capture::kTripPurpose;
                                  }),
                   captures.end());
}

void add_start(const Record& record, const std::optional<Profile>& profile,
               diagnose::Evidence& evidence) {
    if (!record.power) {
        return;
    }
    if (record.power->trip) {
        evidence.trip = record.power->trip->cause;
        evidence.trip_channel = record.power->trip->channel;
    }
    const std::optional<double> rail = start_rail_v(*record.power);
    if (rail && profile && profile->limits.soft_start_min_v) {
        const bool up = *rail >= *profile->limits.soft_start_min_v;
        evidence.figures.push_back(analysis::measured("start_rail_up",
                                                      "rail came up behind the soft start", "",
                                                      up ? 1 : 0, 0, 1, "seen or not"));
    }
}

} // namespace yokedock::record
