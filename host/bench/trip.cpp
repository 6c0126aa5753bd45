// SPDX-License-Identifier: MIT
#include "host/bench/trip.hpp"
#include "host/bench/channel_codes.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::bench {
namespace {

using wire::StopCause;

/// Key of the profile's limit that a reading went beyond; null: it is none of the profile's.
const char* limit_of(StopCause cause) {
    switch (cause) {
    case StopCause::supply_high:
        return "supply_max_v";
    case StopCause::supply_low:
        return "supply_min_v";
    case StopCause::supply_current:
        return "supply_max_a";
    case StopCause::output_high:
        return "v_out_max_v";
    case StopCause::output_low:
        return "v_out_min_v";
    case StopCause::retrace_peak:
        return "h_peak_max_v";
    case StopCause::heatsink:
        return "heatsink_max_c";
    default:
        return nullptr;
    }
}

} // namespace

Trip trip_of(const wire::PowerAnswer& answer, std::string stage) {
    Trip trip;
    trip.cause = static_cast<wire::StopCause>(answer.cause);
    trip.stage = std::move(stage);
    trip.tripped = answer.state == static_cast<std::uint8_t>(wire::BenchState::tripped);
    trip.time = trip.tripped ? answer.trip_time : 0;
    if (answer.channel < kChannelCount && trip.tripped) {
        trip.reading = TripReading{static_cast<ChannelId>(answer.channel), answer.code,
                                   trip.cause == wire::StopCause::load_lost && answer.channel < 2};
    }
    return trip;
}

std::string reading_text(const Trip& trip) {
    if (!trip.reading) {
        return "";
    }
    const ChannelId id = trip.reading->channel;
    const char* name = kChannels[static_cast<std::size_t>(id)].name;
    if (trip.reading->is_swing) {
        const double swing = std::abs(value_of(id, trip.reading->code) - value_of(id, 0));
        return fmt::format("{} swung by {:.3f} {}", name, swing,
                           kChannels[static_cast<std::size_t>(id)].unit);
    }
    return fmt::format("{} read {}", name, value_text(id, trip.reading->code));
}

bool feed_too_high(const Trip& trip) {
    return trip.cause == StopCause::supply_current && trip.stage == "starting" && trip.time != 0;
}

std::string trip_text(const Trip& trip) {
    const std::string reading = reading_text(trip);
    const char* limit = limit_of(trip.cause);
    const std::string expected =
        feed_too_high(trip)
            ? fmt::format("no more than supply_max_v of the profile drives through the soft-start "
                          "resistor ({} ohm), a short included",
                          kSoftStartOhm)
        : limit != nullptr && trip.reading ? std::string("it within ") + limit + " of the profile"
                                           : std::string("none of this");
    return fmt::format(
        "{} in stage \"{}\": {}{}; expected {}; {}",
        trip.tripped ? "the bench switched the supply off" : "the supply was not switched on",
        trip.stage, link::stop_cause_text(trip.cause), reading.empty() ? "" : " (" + reading + ")",
        expected,
        feed_too_high(trip) ? "measure the supply with the board unplugged: its voltage is too "
                              "high, or K2 of the bench hangs and bypasses the resistor"
                            : link::next_step_text(trip.cause));
}

bool supply_off(const wire::PowerAnswer& answer) {
    return (answer.relays & kSupplyRelays) == 0;
}

std::optional<Trip> ask_trip(const Bench& bench, std::string stage) {
    const auto answer = bench.power();
    if (!answer || answer.value().cause == static_cast<std::uint8_t>(wire::StopCause::none)) {
        return std::nullopt;
    }
    return trip_of(answer.value(), std::move(stage));
}

Status still_live(const Bench& bench) {
    const auto power = bench.power();
    if (!power) {
        return power.error();
    }
    if (!supply_off(power.value())) {
        return Done{};
    }
    return Error{ErrorKind::kRefused, trip_text(trip_of(power.value(), "live"))};
}

} // namespace yokedock::bench
