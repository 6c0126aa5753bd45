// SPDX-License-Identifier: MIT
#include "tests/spice/scope.hpp"
#include "tests/spice/line_circuit.hpp"
#include "tests/spice/vertical_circuit.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <random>
#include <sstream>
#include <stdexcept>

namespace yokedock::spice {

namespace {

constexpr double kCodes = 256;
constexpr double kFilled = 0.8;
constexpr double kNoiseCodes = 0.5;
constexpr double kBeforeTriggerS = 1.23e-3;

double range_of(const std::vector<double>& v) {
    const auto [low, high] = std::minmax_element(v.begin(), v.end());
    // A trace without any signal still has a range: 1 mV.
    return std::max(*high - *low, 1e-3);
}

} // namespace

std::string scope_csv(const Waves& waves, char axis, std::uint32_t seed) {
    const double step_s = axis == 'v' ? 20e-6 : 0.5e-6;
    const auto stride = static_cast<std::size_t>(std::lround(step_s / waves.step_s));
    const double code[3] = {
        range_of(waves.yoke_a) / kFilled / kCodes, range_of(waves.out_v) / kFilled / kCodes,
        *std::max_element(waves.supply_v.begin(), waves.supply_v.end()) / kFilled / kCodes};
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, kNoiseCodes);
    std::string text = fmt::format("time_s,{0}_yoke_a,{0}_out_v,supply_v\n", axis);
    for (std::size_t i = 0; i < waves.yoke_a.size(); i += stride) {
        const auto read = [&](double value, double one) {
            return one * std::round(value / one + noise(random));
        };
        text += fmt::format("{:.8f},{:.6g},{:.6g},{:.6g}\n",
                            static_cast<double>(i) * waves.step_s - kBeforeTriggerS,
                            read(waves.yoke_a[i], code[0]), read(waves.out_v[i], code[1]),
                            read(waves.supply_v[i], code[2]));
    }
    return text;
}

Result<record::Import> import_scope(const std::string& csv, char axis) {
    record::CsvReader reader("scope.csv", {});
    std::istringstream in(csv);
    for (std::string line; std::getline(in, line);) {
        if (const Status status = reader.line(line); !status) {
            return status.error();
        }
    }
    Result<record::CsvTable> table = reader.finish();
    if (!table) {
        return table.error();
    }
    record::ImportOptions options;
    options.line_rate_hz = axis == 'h' ? 1 / kLineS : 0;
    options.field_rate_hz = axis == 'v' ? 1 / kFieldS : 0;
    options.interlaced = true;
    return record::import_tables({std::move(table).value()}, {"scope.csv"}, options);
}

analysis::FigureSet scope_figures(const std::string& csv, char axis) {
    const Result<record::Import> import = import_scope(csv, axis);
    if (!import) {
        throw std::logic_error(import.error().text);
    }
    return analysis::analyse(import.value().observation).figures;
}

} // namespace yokedock::spice
