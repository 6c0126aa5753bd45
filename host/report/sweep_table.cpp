// SPDX-License-Identifier: MIT
#include "host/report/sweep_table.hpp"
#include "host/report/sweep_rates.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using lock::Limit;
using lock::LimitStatus;
using lock::SweepAxis;
using lock::SweepSummary;

constexpr int kTextColumns = 22;

std::string row(const std::string& text, const std::string& value) {
    return paragraph(fmt::format("  {:<{}}  ", text, kTextColumns), printable(value));
}

std::string columns(const std::string& text, const std::string& locked, const std::string& lost,
                    const std::string& resolution, const std::string& from_set,
                    const std::string& time) {
    std::string line = fmt::format("  {:<{}}  {:<12}{:<12}{:<12}{:<24}{}", text, kTextColumns,
                                   locked, lost, resolution, from_set, time);
    line.erase(line.find_last_not_of(' ') + 1);
    return line + '\n';
}

std::string limit_row(const char* text, const Limit& limit, const SweepSummary& s) {
    const auto rate = [&s](double hz) { return rate_text(hz, s.settings) + " Hz"; };
    const double away = limit.locked_hz - s.settings.nominal_hz;
    const std::string from_set = fmt::format("{}{} ({:+.2f} %)", away > 0 ? "+" : "", rate(away),
                                             100 * away / s.settings.nominal_hz);
    const std::string time = limit.acquired_s >= 0 ? fmt::format("{:.3g} s", limit.acquired_s) : "";
    switch (limit.status) {
    case LimitStatus::kFound:
        return columns(text, rate(limit.locked_hz), rate(limit.lost_hz),
                       fmt::format("{:.2g} Hz", limit.resolution_hz()), from_set, time);
    case LimitStatus::kBeyond:
        return columns(text, rate(limit.locked_hz), "-", "-", from_set, time) +
               row("", "the limit lies beyond: " + limit.reason);
    case LimitStatus::kNone:
        return row(text, "none: " + limit.reason);
    case LimitStatus::kNotMeasured:
        break;
    }
    return row(text, "not measured: " +
                         (limit.reason.empty() ? "the sweep did not get there" : limit.reason));
}

std::string free_run_row(const char* text, const std::optional<analysis::Figure>& figure) {
    if (!figure) {
        return row(text, "not measured: the sweep did not get there");
    }
    if (figure->status == analysis::FigureStatus::kNotMeasured) {
        return row(text, "not measured: " + figure->reason);
    }
    return row(text, fmt::format("{} (n {})", quantity_text(figure->value, figure->u, figure->unit),
                                 figure->count));
}

/// Rates of the axis that stood still: they follow in steps of a half line, so they have a range.
std::string held_text(const SweepSummary& s, const std::vector<lock::StepResult>& steps) {
    double low = 0;
    double high = 0;
    for (const lock::StepResult& step : steps) {
        if (step.other_rate_hz > 0) {
            low = low > 0 ? std::min(low, step.other_rate_hz) : step.other_rate_hz;
            high = std::max(high, step.other_rate_hz);
        }
    }
    const bool vertical = s.settings.axis == SweepAxis::kVertical;
    std::string out = vertical ? "Vertical: field rate swept" : "Horizontal: line rate swept";
    if (high > 0) {
        const int decimals = vertical ? 2 : 3;
        const std::string from = fmt::format("{:.{}f}", low, decimals);
        const std::string to = fmt::format("{:.{}f}", high, decimals);
        out += fmt::format(", {} rate {}{} Hz", vertical ? "line" : "field", from,
                           from == to ? "" : " to " + to);
    }
    return out + '\n';
}

} // namespace

std::string sweep_heading(const record::SweepLog& log) {
    const record::SweepLogHeader& header = log.header;
    const wire::IdentifyAnswer& identity = header.bench.identity;
    std::string out = paragraph(
        "", printable(fmt::format("Swept {} on bench serial {}, firmware {}.{}.{}, {}, sync {}",
                                  header.time_utc, identity.bench_serial, identity.firmware_major,
                                  identity.firmware_minor, identity.firmware_patch,
                                  header.bench.address, header.standard)));
    if (header.bench.simulated) {
        out += "SIMULATED BENCH: these figures say nothing about real hardware.\n";
    }
    if (!record::is_complete(log) && !header.repeats) {
        const bool told =
            !log.events.empty() && log.events.back().kind == record::SweepLogEvent::Kind::kStopped;
        out += paragraph("", printable("INCOMPLETE: " +
                                       (told ? log.events.back().text
                                             : std::string("the log ends before the sweep does"))));
    }
    for (const std::string& note : header.notes) {
        out += paragraph("note: ", printable(note));
    }
    return out;
}

std::string sweep_table(const SweepSummary& s, const std::vector<lock::StepResult>& steps) {
    std::string out = held_text(s, steps);
    out += row("set rate", fmt::format("{:.{}f} Hz: {}", s.settings.nominal_hz,
                                       s.settings.axis == SweepAxis::kVertical ? 4 : 2,
                                       lock::word(s.nominal_state)));
    out += free_run_row("free run, at start", s.free_run_before);
    out += free_run_row("free run, at end", s.free_run_after);
    out += columns("", "locks at", "not at", "resolution", "from set rate", "time to lock");
    out += limit_row("hold, low", s.hold_low, s);
    out += limit_row("hold, high", s.hold_high, s);
    if (s.settings.pull_in) {
        out += limit_row("pull-in, low", s.pull_in_low, s);
        out += limit_row("pull-in, high", s.pull_in_high, s);
    }
    if (s.settings.returns) {
        out += limit_row("regained, low", s.return_low, s);
        out += limit_row("regained, high", s.return_high, s);
    }
    const double time_s = steps.empty() ? 0 : steps.back().time_s;
    out += row("steps", fmt::format("{} in {:.1f} s of bench time", steps.size(), time_s));
    for (const std::string& finding : s.findings) {
        out += paragraph("  * ", printable(finding));
    }
    for (const std::string& flag : s.flags) {
        out += paragraph("  CONTRADICTION: ", printable(flag));
    }
    return out;
}

} // namespace yokedock::report
