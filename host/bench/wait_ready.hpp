// SPDX-License-Identifier: MIT
// Requests that are refused only until time has passed: a rail that runs down, relays that settle.
#pragma once
#include "host/bench/bench.hpp"
#include <utility>

namespace yokedock::bench {

constexpr link::Milliseconds kReadyPoll{10};
/// Reservoirs of a board that has just run empty in seconds, its coupling capacitors through the
/// loads.
constexpr double kRailWaitS = 10;

template <typename Answer> struct Waited {
    Answer answer;                          ///< a Result: the request's, or of a wait that failed
    bool refused = false;                   ///< the bench refused it for good
    std::optional<wire::StopCause> against; ///< why, where the bench told
};

/// Asks, and asks again while what stands against it passes by itself. most_s(cause): for how long
/// at the most that cause is waited for, in seconds of the bench's clock; below 0: not at all.
/// Errors: those of the request, of Bench::status() and of a pause that was stopped.
template <typename Ask, typename MostS>
auto ask_until_ready(const Bench& bench, Ask&& ask, MostS&& most_s) -> Waited<decltype(ask())> {
    const auto begin = bench.status();
    if (!begin) {
        return {begin.error(), false, {}};
    }
    for (;;) {
        auto answer = ask();
        if (answer || answer.error().kind != ErrorKind::kRefused) {
            return {std::move(answer), false, {}};
        }
        const std::optional<wire::StopCause> against = bench.stands_against();
        const auto now = bench.status();
        if (!now) {
            return {now.error(), false, {}};
        }
        const double waited_s =
            static_cast<double>(now.value().time - begin.value().time) / bench.identity().clock_hz;
        if (!against || waited_s > most_s(*against)) {
            return {std::move(answer), true, against};
        }
        if (const Status paused = bench.requester().pause(kReadyPoll); !paused) {
            return {paused.error(), false, {}};
        }
    }
}

} // namespace yokedock::bench
