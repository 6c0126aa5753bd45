// SPDX-License-Identifier: MIT
#include "host/report/live_line.hpp"
#include "host/report/summary.hpp"
#include "host/report/text.hpp"
#include <cmath>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace yokedock::report {
namespace {

constexpr int kLiveSchema = 1;

double value_of(const LiveReading& reading, const char* name) {
    const analysis::Figure* figure = analysis::find_figure(reading.figures, name);
    return figure != nullptr && figure->status == analysis::FigureStatus::kMeasured ? figure->value
                                                                                    : NAN;
}

std::string text_of(const LiveReading& reading, const char* name, int decimals, const char* unit) {
    const double value = value_of(reading, name);
    return std::isfinite(value) ? fmt::format("{:.{}f} {}", value, decimals, unit)
                                : fmt::format("- {}", unit);
}

std::string lock_of(const LiveReading& reading, char axis) {
    const std::string words = lock_words(reading.figures, axis);
    return words.empty() ? "-" : words == "locked" ? "locked" : "NOT locked";
}

} // namespace

std::string live_line(const LiveReading& reading) {
    const std::string line = fmt::format(
        "{:.0f} s | V {} {} {} | H {} {} {} | {} {}", reading.elapsed_s,
        text_of(reading, "v_rate_hz", 3, "Hz"), text_of(reading, "v_yoke_pp_a", 3, "A"),
        lock_of(reading, 'v'), text_of(reading, "h_rate_hz", 1, "Hz"),
        text_of(reading, "h_yoke_pp_a", 3, "A"), lock_of(reading, 'h'),
        text_of(reading, "supply_v", 2, "V"), text_of(reading, "heatsink_c", 1, "degC"));
    return line.substr(0, kColumns);
}

std::string live_json(const LiveReading& reading) {
    nlohmann::ordered_json out{{"schema", kLiveSchema}, {"elapsed_s", reading.elapsed_s}};
    for (const char* name : {"v_rate_hz", "v_yoke_pp_a", "v_locked", "h_rate_hz", "h_yoke_pp_a",
                             "h_locked", "supply_v", "heatsink_c"}) {
        const double value = value_of(reading, name);
        out[name] = std::isfinite(value) ? nlohmann::ordered_json(value) : nullptr;
    }
    return out.dump();
}

} // namespace yokedock::report
