// SPDX-License-Identifier: MIT
#include "host/report/difference.hpp"
#include "host/report/summary.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using analysis::Figure;
using analysis::FigureSet;
using analysis::FigureStatus;

constexpr std::size_t kChangeColumns = 22;

bool has_value(const Figure* figure) {
    return figure != nullptr && figure->status == FigureStatus::kMeasured;
}

double uncertainty(const Figure& before, const Figure& after, bool same_bench) {
    return same_bench ? analysis::difference_u(before, after)
                      : std::hypot(analysis::total_u(before), analysis::total_u(after));
}

Difference difference(const Figure& before, const Figure& after, bool same_bench) {
    Difference d{after.name, after.text, after.unit, before.value, after.value, NAN, NAN, false};
    if (has_value(&before) && has_value(&after)) {
        d.change = after.value - before.value;
        d.u = uncertainty(before, after, same_bench);
        d.differs = std::abs(d.change) > kCoverage * d.u;
    }
    return d;
}

/// "7.63 Hz (12.7 %) lower"; more and less are the words for the direction.
std::string change_words(const Difference& d, const char* more, const char* less) {
    const std::string size = number_text(std::abs(d.change), d.u) + " " + d.unit;
    const std::string percent =
        d.before != 0 ? fmt::format(" ({:.2g} %)", 100 * std::abs(d.change / d.before)) : "";
    return size + percent + " " + (d.change > 0 ? more : less);
}

struct Words {
    const char* axis;
    char prefix;
    const char* rate;
    const char* size;
    const char* unlocked;
};

constexpr Words kAxes[] = {
    {"Vertical", 'v', "v_rate_hz", "v_yoke_pp_a", "the picture rolls"},
    {"Horizontal", 'h', "h_rate_hz", "h_yoke_pp_a", "the picture breaks into slanting lines"},
};

std::string value_words(const Figure& figure) {
    return quantity_text(figure.value, figure.u, figure.unit);
}

/// What both have, or why they cannot be compared.
std::string compare(const Words& words, const char* what, const char* name, const char* more,
                    const char* less, const FigureSet& before, const FigureSet& after,
                    bool same_bench, const std::string& before_name,
                    const std::string& after_name) {
    const Figure* b = analysis::find_figure(before, name);
    const Figure* a = analysis::find_figure(after, name);
    const std::string head = fmt::format("{} {}: ", words.axis, what);
    for (const auto& [figure, whose] : {std::pair{b, &before_name}, std::pair{a, &after_name}}) {
        if (!has_value(figure)) {
            return head + fmt::format("cannot be compared, not measured in {} ({}).", *whose,
                                      figure == nullptr ? "no such figure" : figure->reason);
        }
    }
    const Difference d = difference(*b, *a, same_bench);
    if (!d.differs) {
        return head + fmt::format("no difference: {} in {}, {} in {}.", value_words(*a), after_name,
                                  value_words(*b), before_name);
    }
    return head + fmt::format("{} in {}, {} in {}: {}.", value_words(*a), after_name,
                              value_words(*b), before_name, change_words(d, more, less));
}

std::string compare_lock(const Words& words, const FigureSet& before, const FigureSet& after,
                         const std::string& before_name, const std::string& after_name) {
    const std::string b = lock_words(before, words.prefix);
    const std::string a = lock_words(after, words.prefix);
    if (a.empty() || b.empty()) {
        return fmt::format("{} lock: cannot be compared, it is not known for {}.", words.axis,
                           a.empty() ? after_name : before_name);
    }
    std::string text = a == b ? fmt::format("{} lock: both are {}", words.axis, a)
                              : fmt::format("{} lock: {} is {}, {} is {}", words.axis, after_name,
                                            a, before_name, b);
    if (a != "locked" && a != b) {
        text += std::string(": ") + words.unlocked;
    }
    return text + ".";
}

} // namespace

std::vector<Difference> differences(const FigureSet& before, const FigureSet& after,
                                    bool same_bench) {
    std::vector<Difference> out;
    for (const Figure& figure : after) {
        if (const Figure* other = analysis::find_figure(before, figure.name)) {
            out.push_back(difference(*other, figure, same_bench));
        }
    }
    return out;
}

std::vector<std::string> explain_difference(const FigureSet& before, const FigureSet& after,
                                            bool same_bench, const std::string& before_name,
                                            const std::string& after_name) {
    std::vector<std::string> out;
    for (const Words& words : kAxes) {
        out.push_back(compare_lock(words, before, after, before_name, after_name));
        out.push_back(compare(words, "rate", words.rate, "higher", "lower", before, after,
                              same_bench, before_name, after_name));
        out.push_back(compare(words, "size", words.size, "larger", "smaller", before, after,
                              same_bench, before_name, after_name));
    }
    return out;
}

std::string difference_table(const std::vector<Difference>& all, const std::string& before_name,
                             const std::string& after_name) {
    std::string out = paragraph("  against: ", printable(before_name)) +
                      paragraph("  this:    ", printable(after_name)) +
                      fmt::format("\n  {:<40} {:>16} {:>16} {:>{}}\n", "", "against", "this",
                                  "change", kChangeColumns);
    std::size_t left_out = 0;
    for (const Difference& d : all) {
        if (!std::isfinite(d.change)) {
            ++left_out;
            continue;
        }
        std::string change = d.change == 0 && !(d.u > 0) ? "0" : quantity_text(d.change, d.u, "");
        if (change.size() > kChangeColumns) {
            change = fmt::format("{:.1e} +- {:.1e}", d.change, d.u);
        }
        const std::string unit = d.unit.empty() ? "" : ", " + d.unit;
        const auto texts = wrapped(printable(d.text + unit), 40);
        out += fmt::format("{} {:<40} {:>16} {:>16} {:>{}}\n", d.differs ? '*' : ' ', texts[0],
                           number_text(d.before, d.u), number_text(d.after, d.u), change,
                           kChangeColumns);
        for (std::size_t i = 1; i < texts.size(); ++i) {
            out += "  " + texts[i] + '\n';
        }
    }
    out += fmt::format("\n* differs by more than {:g} standard uncertainties of the change\n",
                       kCoverage);
    if (left_out > 0) {
        out += fmt::format("{} figures were not measured in both and are left out\n", left_out);
    }
    return out;
}

} // namespace yokedock::report
