// SPDX-License-Identifier: MIT
// The time column: increasing, of equal steps, and no worse than its digits.
#include "host/record/csv.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

struct TimeLine {
    double begin_s;
    double step_s;
    double most_off_s; ///< largest distance of a time from it

    [[nodiscard]] double at(std::size_t row) const {
        return begin_s + step_s * static_cast<double>(row);
    }
};

/// Least squares over the row number.
TimeLine line_through(const std::vector<double>& time_s) {
    const auto n = static_cast<double>(time_s.size());
    const double middle = (n - 1) / 2;
    double mean = 0; // of the times since the first: few digits are lost
    double slope = 0;
    for (std::size_t i = 0; i < time_s.size(); ++i) {
        const double since = time_s[i] - time_s.front();
        mean += since / n;
        slope += since * (static_cast<double>(i) - middle);
    }
    slope /= n * (n * n - 1) / 12;
    TimeLine line{time_s.front() + mean - slope * middle, slope, 0};
    for (std::size_t i = 0; i < time_s.size(); ++i) {
        line.most_off_s = std::max(line.most_off_s, std::abs(time_s[i] - line.at(i)));
    }
    return line;
}

double median_step(const std::vector<double>& time_s) {
    std::vector<double> steps;
    for (std::size_t i = 1; i < time_s.size(); ++i) {
        steps.push_back(time_s[i] - time_s[i - 1]);
    }
    const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    return *middle;
}

/// Equal steps rounded to the last digit: never more than half of it off the line. A row that is
/// missing shifts all that follow by a step, which is a digit or more, so half a digit and more on
/// either side. Where steps are (nearly) a whole number of digits a longer one now and then may be
/// rounding or a loss: that is not decided here.
bool is_rounded_line(const TimeLine& line, std::size_t rows, double digit_s) {
    constexpr std::size_t kRowsToTell = 100; // five odd steps at least, evenly spread: no loss
    constexpr double kMostOff = 0.55;        // of a digit: the fit's own error included
    constexpr double kFromWholeNumber = 0.05;
    const double digits = line.step_s / digit_s;
    return rows >= kRowsToTell && digits > 1 &&
           std::abs(digits - std::round(digits)) > kFromWholeNumber &&
           line.most_off_s <= kMostOff * digit_s;
}

} // namespace

Status CsvReader::take_time(double value) {
    if (!table_.time_s.empty() && options_.step_s == 0 && value <= table_.time_s.back()) {
        const double before = table_.time_s.back();
        const std::string problem = fmt::format("time {} s follows {} s", value, before);
        if (value == before) {
            return fail(problem, "expected increasing time: it has too few digits (export more, or "
                                 "give the distance of the rows by --step-s SECONDS), or the first "
                                 "column is not time");
        }
        return fail(
            problem,
            "expected increasing time: the rows are out of order, two captures were joined, "
            "or the first column is not time");
    }
    table_.time_s.push_back(value);
    return Done{};
}

/// A row that was lost leaves a step of at least twice the others; times rounded to too few digits
/// look alike.
Status CsvReader::settle_times() {
    std::vector<double>& time_s = table_.time_s;
    if (options_.step_s > 0) {
        const double begin_s = time_s.front();
        for (std::size_t i = 0; i < time_s.size(); ++i) {
            const double wanted = begin_s + options_.step_s * static_cast<double>(i);
            if (std::abs(time_s[i] - wanted) > time_digit_ + options_.step_s / 2) {
                return fail_at(first_data_line_ + i,
                               fmt::format("time {} s, and by --step-s {} it should be {:.6g} s",
                                           time_s[i], options_.step_s, wanted),
                               "expected times that agree as far as their digits go: rows are "
                               "missing, or the step is another");
            }
            time_s[i] = wanted;
        }
        return Done{};
    }
    const TimeLine line = line_through(time_s);
    const bool rounded = is_rounded_line(line, time_s.size(), time_digit_);
    // Of steps that alternate between one and two digits the median may be the long one: a lost row
    // would then be no more than half as long again.
    const double usual = std::min(median_step(time_s), line.step_s);
    constexpr double kLongestStep = 1.5; // of the usual one
    for (std::size_t i = 1; i < time_s.size() && !rounded; ++i) {
        const double step = time_s[i] - time_s[i - 1];
        if (step > kLongestStep * usual) {
            return fail_at(
                first_data_line_ + i,
                fmt::format("{:.4g} s since the row before, and the usual step is {:.4g} s", step,
                            usual),
                "expected equal steps: rows are missing (export again), or the times have too few "
                "digits (export more, or give the distance of the rows by --step-s SECONDS)");
        }
    }
    constexpr double kFewDigits = 0.05; // of a step
    if (rounded) {
        for (std::size_t i = 0; i < time_s.size(); ++i) {
            time_s[i] = line.at(i);
        }
        if (time_digit_ > kFewDigits * line.step_s) {
            table_.warnings.push_back(fmt::format(
                "{}: times are written in steps of {:.3g} s; rows are taken as {:.6g} s "
                "apart, which all of them round to",
                file_, time_digit_, line.step_s));
        }
    }
    return Done{};
}

} // namespace yokedock::record
