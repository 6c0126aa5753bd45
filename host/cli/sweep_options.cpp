// SPDX-License-Identifier: MIT
#include "host/cli/sweep_options.hpp"
#include "host/bench/bench.hpp"
#include "host/lock/stimulus.hpp"
#include "host/record/sweep_json.hpp"
#include "shared/sync/plan.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

using lock::SweepAxis;
using lock::SweepSettings;

constexpr std::uint32_t kReferenceClockHz = 16'000'000;
constexpr double kLongestS = 60;
/// --watch: so much coarser than a whole sweep, so that a turn is short.
constexpr double kWatchCoarser = 5;

Error usage(const std::string& text) {
    return {ErrorKind::kUsage, text};
}

/// X(option, member of SweepRange and of SweepSettings)
#define YOKEDOCK_SWEEP_NUMBERS(X)                                                                  \
    X("--low-hz", low_hz)                                                                          \
    X("--high-hz", high_hz)                                                                        \
    X("--step-hz", step_hz)                                                                        \
    X("--resolution-hz", resolution_hz)                                                            \
    X("--dwell-s", dwell_s)                                                                        \
    X("--acquire-s", acquire_s)

Result<std::vector<SweepAxis>> axes_of(const SweepRange& range) {
    if (range.axis.empty() || range.axis == "both") {
        if (range.low_hz || range.high_hz || range.step_hz || range.resolution_hz) {
            return usage("--low-hz, --high-hz, --step-hz and --resolution-hz are rates of one "
                         "axis, expected --axis vertical or --axis horizontal with them");
        }
        return std::vector{SweepAxis::kVertical, SweepAxis::kHorizontal};
    }
    for (const SweepAxis axis : {SweepAxis::kVertical, SweepAxis::kHorizontal}) {
        if (range.axis == record::axis_word(axis)) {
            return std::vector{axis};
        }
    }
    return usage(fmt::format("--axis is \"{}\", expected vertical, horizontal or both",
                             range.axis.substr(0, 40)));
}

Error out_of_range(const char* option, double value, const std::string& expected) {
    return usage(fmt::format("{} is {}, expected {}", option, value, expected));
}

Status check_numbers(const SweepSettings& s) {
    const auto between = [](double value, double low, double high) {
        return value >= low && value <= high; // false for NaN
    };
    if (!between(s.low_hz, 0, s.nominal_hz) || s.low_hz == s.nominal_hz) {
        return out_of_range("--low-hz", s.low_hz,
                            fmt::format("a rate below the set rate of {:.6g}", s.nominal_hz));
    }
    if (!(s.high_hz > s.nominal_hz) || !std::isfinite(s.high_hz)) {
        return out_of_range("--high-hz", s.high_hz,
                            fmt::format("a rate above the set rate of {:.6g}", s.nominal_hz));
    }
    if (!(s.resolution_hz > 0) || !(s.resolution_hz >= 1e-6 * s.nominal_hz)) {
        return out_of_range("--resolution-hz", s.resolution_hz,
                            fmt::format("{:.3g} or more", 1e-6 * s.nominal_hz));
    }
    if (!between(s.step_hz, s.resolution_hz, s.high_hz - s.low_hz)) {
        return out_of_range("--step-hz", s.step_hz,
                            fmt::format("from the resolution of {:.4g} to the range of {:.4g}",
                                        s.resolution_hz, s.high_hz - s.low_hz));
    }
    if (!between(s.dwell_s, 0, kLongestS)) {
        return out_of_range("--dwell-s", s.dwell_s, fmt::format("0 to {}", kLongestS));
    }
    if (!between(s.acquire_s, 0, kLongestS)) {
        return out_of_range("--acquire-s", s.acquire_s, fmt::format("0 to {}", kLongestS));
    }
    return Done{};
}

/// Both ends of the range must be rates that the bench can send, and the line rate must not go so
/// low by accident that it harms the line output stage.
Status check_ends(const SweepSettings& s, bool allow_low) {
    for (const double hz : {s.low_hz, s.high_hz}) {
        if (!sync::make_plan(lock::sync_at(s, hz), kReferenceClockHz).ok) {
            return out_of_range(hz == s.low_hz ? "--low-hz" : "--high-hz", hz,
                                "a rate that the bench can make (line rate 10000 to 20000 Hz)");
        }
    }
    if (s.axis == SweepAxis::kHorizontal && !allow_low &&
        s.low_hz < lock::kLowestLineShare * s.nominal_hz) {
        return usage(fmt::format(
            "--low-hz is {:.6g}, expected {:.6g} or more: a line rate far below the set rate "
            "overstresses the line output stage; where the board is known to stand it, add "
            "--allow-low",
            s.low_hz, lock::kLowestLineShare * s.nominal_hz));
    }
    return Done{};
}

template <class Value>
Status same(const char* option, const std::optional<Value>& given, const Value& begun) {
    if (!given || *given == begun) {
        return Done{};
    }
    return usage(fmt::format("{} is {}, but the log was begun with {}; leave it out to go on as "
                             "begun, or begin a new log",
                             option, *given, begun));
}

bool any_sync(const SyncOptions& sync) {
    return !sync.standard.empty() || !sync.line_rate_hz.empty() || sync.lines_per_field != 0 ||
           sync.line_sync_us != 0 || sync.positive;
}

Status same_axes(const SweepRange& range, const record::SweepLogHeader& header) {
    if (range.axis.empty()) {
        return Done{};
    }
    bool vertical = false;
    bool horizontal = false;
    for (const SweepSettings& s : header.sweeps) {
        (s.axis == SweepAxis::kVertical ? vertical : horizontal) = true;
    }
    const std::string begun = vertical && horizontal ? "both"
                              : vertical             ? "vertical"
                                                     : "horizontal";
    return same("--axis", std::optional(range.axis), begun);
}

Status same_sync(const SyncOptions& options, const record::SweepLogHeader& header) {
    if (!any_sync(options)) {
        return Done{};
    }
    const Result<ChosenSync> chosen = choose_sync(options, nullptr);
    if (!chosen) {
        return chosen.error();
    }
    const auto plan = [](const wire::SyncSettings& settings) {
        return sync::make_plan(settings, kReferenceClockHz).achieved;
    };
    if (!bench::same_plan(plan(chosen.value().settings), plan(header.sweeps.front().sync))) {
        return usage(fmt::format("the sync options give another sync than the log was begun with "
                                 "({}); leave them out to go on as begun, or begin a new log",
                                 header.standard));
    }
    return Done{};
}

} // namespace

void add_sweep_range_options(CLI::App& command, SweepRange& range) {
    const auto number = [&command](const char* name, std::optional<double>& value,
                                   const char* text) {
        command.add_option(name, value, text)->group("Range");
    };
    command
        .add_option("--axis", range.axis,
                    "vertical (field rate), horizontal (line rate) or both (default)")
        ->group("Range");
    number("--low-hz", range.low_hz, "lowest rate sent");
    number("--high-hz", range.high_hz, "highest rate sent");
    number("--step-hz", range.step_hz, "steps of the walk away from the set rate");
    number("--resolution-hz", range.resolution_hz, "limits are refined to this");
    number("--dwell-s", range.dwell_s, "time a step is watched, in place of what is needed");
    number("--acquire-s", range.acquire_s, "time given to find lock");
    command
        .add_flag("--allow-low", range.allow_low,
                  "allow a line rate far below the set rate: it stresses the line output stage")
        ->group("Range");
    command.add_flag("--no-returns", range.no_returns, "leave out the way back from a lost lock")
        ->group("Range");
    command.add_flag("--no-pull-in", range.no_pull_in, "leave out the pull-in range")
        ->group("Range");
}

Result<std::vector<SweepSettings>> plan_sweeps(const SweepRange& range,
                                               const wire::SyncSettings& sync, bool watch) {
    const auto axes = axes_of(range);
    if (!axes) {
        return axes.error();
    }
    std::vector<SweepSettings> sweeps;
    for (const SweepAxis axis : axes.value()) {
        SweepSettings s = lock::default_sweep(axis, sync);
        if (watch) {
            s.resolution_hz *= kWatchCoarser;
            s.step_hz = std::max(s.step_hz, 2 * s.resolution_hz);
        }
#define X(option, member) s.member = range.member.value_or(s.member);
        YOKEDOCK_SWEEP_NUMBERS(X)
#undef X
        if (range.resolution_hz && !range.step_hz) {
            s.step_hz = std::max(s.step_hz, s.resolution_hz);
        }
        s.returns = !range.no_returns && !watch;
        s.pull_in = !range.no_pull_in && !watch;
        if (const Status numbers = check_numbers(s); !numbers) {
            return numbers.error();
        }
        if (const Status ends = check_ends(s, range.allow_low); !ends) {
            return ends.error();
        }
        sweeps.push_back(s);
    }
    return sweeps;
}

Status check_same_settings(const SweepCommand& options, const record::SweepLogHeader& header) {
    if (const Status axes = same_axes(options.range, header); !axes) {
        return axes;
    }
    for (const SweepSettings& s : header.sweeps) {
#define X(option, member)                                                                          \
    if (const Status status = same(option, options.range.member, s.member); !status) {             \
        return status;                                                                             \
    }
        YOKEDOCK_SWEEP_NUMBERS(X)
#undef X
        const auto left_out = [](bool flag) { return flag ? std::optional(true) : std::nullopt; };
        if (const Status status =
                same("--no-returns", left_out(options.range.no_returns), !s.returns);
            !status) {
            return status;
        }
        if (const Status status =
                same("--no-pull-in", left_out(options.range.no_pull_in), !s.pull_in);
            !status) {
            return status;
        }
    }
    return same_sync(options.sync, header);
}

} // namespace yokedock::cli
