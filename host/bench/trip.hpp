// SPDX-License-Identifier: MIT
// Why the supply is off or may not go on, as the bench tells it.
#pragma once
#include "host/bench/bench.hpp"
#include "shared/channels.hpp"

namespace yokedock::bench {

/// Relays of wire::PowerAnswer that put the supply on the board.
constexpr std::uint8_t kSupplyRelays = 0x03;

/// The reading that was out of its limit.
struct TripReading {
    ChannelId channel{};
    std::uint16_t code = 0;
    bool is_swing = false; ///< of a load that was lost: the code is peak to peak
};

struct Trip {
    wire::StopCause cause = wire::StopCause::none;
    std::string stage;                  ///< in which it happened: "starting"
    std::optional<TripReading> reading; ///< where it was one that tripped
    std::uint32_t time = 0;             ///< of the device, ticks; 0: the supply was never on
    bool tripped = false;               ///< the supply was on
};

/// What an answer tells about the last stop. Pure.
[[nodiscard]] Trip trip_of(const wire::PowerAnswer& answer, std::string stage);

/// "supply_a read 1.35 A"; "" without a reading. Pure.
[[nodiscard]] std::string reading_text(const Trip& trip);
/// Behind the soft-start resistor the device takes a current for too much that no short can draw
/// from an allowed supply: the supply is too high, or the resistor is bypassed. Pure.
[[nodiscard]] bool feed_too_high(const Trip& trip);
/// Cause, stage, reading, next step; one sentence after another. Pure.
[[nodiscard]] std::string trip_text(const Trip& trip);

/// The supply relays are open. Pure.
[[nodiscard]] bool supply_off(const wire::PowerAnswer& answer);

/// Asks the bench why it is no longer in the state it was in. Nothing: it says nothing new, or the
/// link is gone.
[[nodiscard]] std::optional<Trip> ask_trip(const Bench& bench, std::string stage);

/// Of a board that the bench powers: kRefused with the trip's text when the supply is off. A trip
/// while no capture runs cuts none off; what is measured after it is a board without supply.
[[nodiscard]] Status still_live(const Bench& bench);

} // namespace yokedock::bench
