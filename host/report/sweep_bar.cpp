// SPDX-License-Identifier: MIT
#include "host/report/sweep_bar.hpp"
#include "host/report/sweep_rates.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using lock::Limit;
using lock::LimitStatus;
using lock::SweepSummary;

constexpr std::size_t kBarColumns = 66;
constexpr std::size_t kWatchColumns = 34;
constexpr std::size_t kBarWidth = 80;
constexpr int kLabelColumns = 10;

/// Columns over rates. Rates outside stand in the first or last column.
struct Scale {
    double low_hz;
    double high_hz;
    std::size_t columns;
    [[nodiscard]] std::size_t column(double hz) const {
        const double place = (hz - low_hz) / (high_hz - low_hz) * static_cast<double>(columns);
        return static_cast<std::size_t>(
            std::clamp(std::floor(place), 0.0, static_cast<double>(columns - 1)));
    }
    [[nodiscard]] double rate(std::size_t column) const {
        return low_hz + (high_hz - low_hz) * (static_cast<double>(column) + 0.5) /
                            static_cast<double>(columns);
    }
};

Scale scale_of(const SweepSummary& s) {
    double low = s.settings.nominal_hz;
    double high = low;
    const auto take = [&](double hz) {
        low = std::min(low, hz);
        high = std::max(high, hz);
    };
    for (const Limit* limit : {&s.hold_low, &s.hold_high, &s.pull_in_low, &s.pull_in_high,
                               &s.return_low, &s.return_high}) {
        if (limit->status == LimitStatus::kFound || limit->status == LimitStatus::kBeyond) {
            take(limit->locked_hz);
        }
        if (limit->status == LimitStatus::kFound) {
            take(limit->lost_hz);
        }
    }
    if (const auto free_run = free_run_hz(s)) {
        take(*free_run);
    }
    if (!(high > low)) {
        take(s.settings.low_hz);
        take(s.settings.high_hz);
    }
    const double margin = std::max(0.06 * (high - low), 1e-6 * high);
    return {low - margin, high + margin, kBarColumns};
}

std::string range_row(const Limit& low, const Limit& high, const SweepSummary& s,
                      const Scale& scale) {
    std::string row;
    for (std::size_t i = 0; i < scale.columns; ++i) {
        row += range_mark(scale.rate(i), low, high, s.settings);
    }
    const auto end = [&](const Limit& limit, char found, char beyond) {
        if (limit.status == LimitStatus::kFound) {
            row[scale.column(limit.locked_hz)] = found;
        } else if (limit.status == LimitStatus::kBeyond) {
            row[scale.column(limit.locked_hz)] = beyond;
        }
    };
    end(low, '[', '<');
    end(high, ']', '>');
    return row;
}

/// Set rate and free run; one over the other is '*'.
void put_marks(std::string& row, const SweepSummary& s, const Scale& scale) {
    const std::size_t set = scale.column(s.settings.nominal_hz);
    row[set] = 'S';
    if (const auto free_run = free_run_hz(s)) {
        char& cell = row[scale.column(*free_run)];
        cell = cell == 'S' ? '*' : 'F';
    }
}

std::string labelled(const char* label, std::string row) {
    row.erase(row.find_last_not_of(' ') + 1);
    return fmt::format("  {:<{}}{}\n", label, kLabelColumns, row);
}

std::string scale_row(const SweepSummary& s, const Scale& scale) {
    const std::string left = "|" + rate_text(scale.low_hz, s.settings);
    const std::string right = rate_text(scale.high_hz, s.settings) + " Hz|";
    return left + std::string(scale.columns - left.size() - right.size(), ' ') + right;
}

std::string legend(const SweepSummary& s, const std::string& picture) {
    std::string text =
        fmt::format("S set rate {} Hz", rate_text(s.settings.nominal_hz, s.settings));
    if (const auto free_run = free_run_hz(s)) {
        text += fmt::format(", F free run {} Hz", rate_text(*free_run, s.settings));
    }
    const std::pair<char, const char*> words[] = {
        {'*', "* both in one place"}, {'=', "= locks"},          {'.', ". does not lock"},
        {'<', "< locks on below"},    {'>', "> locks on above"}, {'?', "? not measured"}};
    for (const auto& [mark, word] : words) {
        if (picture.find(mark) != std::string::npos) {
            text += std::string(", ") + word;
        }
    }
    return paragraph("  ", text, kBarWidth);
}

} // namespace

std::string sweep_bar(const SweepSummary& s) {
    const Scale scale = scale_of(s);
    std::string rows = range_row(s.hold_low, s.hold_high, s, scale);
    std::string picture = rows;
    std::string out = labelled("hold", rows);
    if (s.settings.pull_in) {
        rows = range_row(s.pull_in_low, s.pull_in_high, s, scale);
        picture += rows;
        out += labelled("pull-in", rows);
    }
    if (s.settings.returns) {
        rows = range_row(s.return_low, s.return_high, s, scale);
        picture += rows;
        out += labelled("regained", rows);
    }
    std::string marks(scale.columns, ' ');
    put_marks(marks, s, scale);
    picture += marks.find('*') != std::string::npos ? "*" : "";
    out += labelled("", marks);
    // The dots of the scale's figures are no marks, so it is left out of the picture.
    return labelled("", scale_row(s, scale)) + out + legend(s, picture);
}

std::string watch_line(const SweepSummary& s, double elapsed_s) {
    const Scale scale{s.settings.low_hz, s.settings.high_hz, kWatchColumns};
    std::string row = range_row(s.hold_low, s.hold_high, s, scale);
    put_marks(row, s, scale);
    const auto free_run = free_run_hz(s);
    return fmt::format("{:7.1f} s {} hold {}, free run {}", elapsed_s, row,
                       range_text(s.hold_low, s.hold_high, s.settings),
                       free_run ? rate_text(*free_run, s.settings) + " Hz" : "-");
}

} // namespace yokedock::report
