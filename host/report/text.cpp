// SPDX-License-Identifier: MIT
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

constexpr int kMostDecimals = 12;

/// Decimals at which u shows two digits; negative: tens, hundreds.
int decimals_for(double u) {
    return 1 - static_cast<int>(std::floor(std::log10(u)));
}

std::string rounded(double value, int decimals) {
    if (decimals >= 0) {
        const std::string text = fmt::format("{:.{}f}", value, std::min(decimals, kMostDecimals));
        const bool zero = text.find_first_of("123456789") == std::string::npos;
        return zero && text.front() == '-' ? text.substr(1) : text; // no "-0.00"
    }
    const double step = std::pow(10.0, -decimals);
    return fmt::format("{:.0f}", std::round(value / step) * step);
}

bool usable(double u) {
    return std::isfinite(u) && u > 0;
}

} // namespace

std::string printable(std::string_view text) {
    std::string out(text);
    std::replace_if(
        out.begin(), out.end(), [](char c) { return c < ' ' || c > '~'; }, '?');
    return out;
}

std::vector<std::string> wrapped(std::string_view text, std::size_t width) {
    std::vector<std::string> lines(1);
    std::size_t at = 0;
    while (at < text.size()) {
        const std::size_t end = std::min(text.find(' ', at), text.size());
        std::string_view word = text.substr(at, end - at);
        at = end + 1;
        while (!word.empty()) {
            std::string& line = lines.back();
            const std::size_t blank = line.empty() ? 0 : 1;
            if (line.size() + blank + word.size() <= width) {
                line.append(blank, ' ').append(word);
                break;
            }
            if (line.empty()) {
                line.append(word.substr(0, width));
                word.remove_prefix(width);
            }
            lines.emplace_back();
        }
    }
    if (lines.size() > 1 && lines.back().empty()) {
        lines.pop_back();
    }
    return lines;
}

std::string paragraph(std::string_view first, std::string_view text, std::size_t width) {
    std::string out;
    for (const std::string& line : wrapped(text, width - first.size())) {
        out += (out.empty() ? std::string(first) : std::string(first.size(), ' ')) + line + '\n';
    }
    return out;
}

std::string number_text(double value, double u) {
    if (!std::isfinite(value)) {
        return "-";
    }
    if (!usable(u)) {
        return fmt::format("{:.6g}", value);
    }
    return rounded(value, decimals_for(u));
}

std::string quantity_text(double value, double u, std::string_view unit) {
    std::string out = number_text(value, u);
    if (usable(u)) {
        out += " +- " + rounded(u, decimals_for(u));
    }
    if (!unit.empty()) {
        out += ' ';
        out += unit;
    }
    return out;
}

} // namespace yokedock::report
