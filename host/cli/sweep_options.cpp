// SPDX-License-Identifier: MIT
#include "host/cli/sweep_options.hpp"
#include "host/bench/bench.hpp"
#include "host/lock/stimulus.hpp"
#include "host/record/sweep_json.hpp"
#include "shared/sync/plan.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

using lock::SweepAxis;
using lock::SweepSettings;

constexpr std::uint32_t kReferenceClockHz = 16'000'000;
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

void add_sweep_range_options(Parser& command, SweepRange& range) {
    const auto number = [&command](const char* name, std::optional<double>& value,
                                   const char* text) {
        command.add_option(name, value, text).group("Range");
    };
    command
        .add_option("--axis", range.axis,
                    "vertical (field rate), horizontal (line rate) or both (default)")
        .group("Range");
    number("--low-hz", range.low_hz, "lowest rate sent");
    number("--high-hz", range.high_hz, "highest rate sent");
    number("--step-hz", range.step_hz, "steps of the walk away from the set rate");
    number("--resolution-hz", range.resolution_hz, "limits are refined to this");
    number("--dwell-s", range.dwell_s, "time a step is watched, in place of what is needed");
    number("--acquire-s", range.acquire_s, "time given to find lock");
    command
        .add_flag("--allow-low", range.allow_low,
                  "allow a line rate far below the set rate: it stresses the line output stage")
        .group("Range");
    command.add_flag("--no-returns", range.no_returns, "leave out the way back from a lost lock")
        .group("Range");
    command.add_flag("--no-pull-in", range.no_pull_in, "leave out the pull-in range")
        .group("Range");
    command
        .add_flag("--narrow-sync", range.narrow_sync,
                  "also find how narrow sync pulses may be at the set rate")
        .group("Range");
}

Result<std::vector<SweepSettings>> plan_sweeps(const SweepRange& range,
                                               const wire::SyncSettings& sync, bool watch) {
    const auto axes = axes_of(range);
    if (!axes) {
        return axes.error();
    }
    std::vector<SweepSettings> sweeps;
    for (const SweepAxis axis : axes.value()) {
        Result<SweepSettings> usual = lock::default_sweep(axis, sync, kReferenceClockHz);
        if (!usual) {
            return usual.error();
        }
        SweepSettings s = usual.value();
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
        s.narrow_sync = range.narrow_sync && !watch;
        if (const Status good = lock::check_sweep(s, range.allow_low); !good) {
            return good.error();
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
        if (const Status status =
                same("--narrow-sync", left_out(options.range.narrow_sync), s.narrow_sync);
            !status) {
            return status;
        }
    }
    return same_sync(options.sync, header);
}

} // namespace yokedock::cli
