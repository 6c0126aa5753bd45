// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/parameters.hpp"
#include "demo/virtual_bench/board/random.hpp"
#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::sim {

namespace {

constexpr ParameterInfo kTable[] = {
#define X(block, name, unit, low, high, tolerance, text)                                           \
    {#block "." #name, unit, low, high, tolerance, text, &BoardParameters::block##_##name},
    YOKEDOCK_BOARD_PARAMETERS(X)
#undef X
};

Error usage(std::string text) {
    return {ErrorKind::kUsage, std::move(text)};
}

/// How many leading characters two names share: enough to suggest what was meant.
std::size_t likeness(std::string_view a, std::string_view b) {
    const std::size_t n = std::min(a.size(), b.size());
    std::size_t k = 0;
    while (k < n && a[k] == b[k]) {
        ++k;
    }
    return k;
}

std::string_view nearest_path(std::string_view path) {
    const auto* best = std::max_element(std::begin(kTable), std::end(kTable),
                                        [path](const ParameterInfo& a, const ParameterInfo& b) {
                                            return likeness(a.path, path) < likeness(b.path, path);
                                        });
    return best->path;
}

} // namespace

std::span<const ParameterInfo> parameter_table() {
    return kTable;
}

const ParameterInfo* find_parameter(std::string_view path) {
    const auto* found = std::find_if(std::begin(kTable), std::end(kTable),
                                     [path](const ParameterInfo& p) { return p.path == path; });
    return found == std::end(kTable) ? nullptr : found;
}

Status set_parameter(BoardParameters& board, std::string_view path, double value) {
    const ParameterInfo* info = find_parameter(path);
    if (info == nullptr) {
        return usage(
            fmt::format("no board parameter is called \"{}\"; expected a name from the parameter "
                        "list such as \"{}\"",
                        path, nearest_path(path)));
    }
    if (!std::isfinite(value) || value < info->low || value > info->high) {
        return usage(fmt::format("board parameter {} cannot be {}; expected {} to {} {} ({})", path,
                                 value, info->low, info->high, info->unit, info->text));
    }
    board.*(info->member) = value;
    return Done{};
}

Status apply_setting(BoardParameters& board, std::string_view setting) {
    const std::size_t equals = setting.find('=');
    if (equals == std::string_view::npos) {
        return usage(fmt::format("setting \"{}\" has no \"=\"; expected path=number, for example "
                                 "vertical_oscillator.hold_ohm=20000",
                                 setting));
    }
    const std::string_view path = setting.substr(0, equals);
    const std::string_view text = setting.substr(equals + 1);
    double value = 0;
    const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (failure != std::errc{} || end != text.data() + text.size()) {
        const ParameterInfo* info = find_parameter(path);
        return usage(fmt::format("board parameter {} got \"{}\"; expected a plain number{}{}", path,
                                 text, info != nullptr ? " in " : "",
                                 info != nullptr ? info->unit : std::string_view{}));
    }
    return set_parameter(board, path, value);
}

namespace {

double vertical_time_constants(const BoardParameters& p) { // charging time in units of R C
    return std::log((1 - p.vertical_oscillator_lower_ratio) /
                    (1 - p.vertical_oscillator_upper_ratio));
}

double vertical_discharge_s(const BoardParameters& p) {
    return p.vertical_oscillator_discharge_ohm * p.vertical_oscillator_capacitor_f *
           std::log(p.vertical_oscillator_upper_ratio / p.vertical_oscillator_lower_ratio);
}

/// Deflection per charging conductance, in any unit.
double ramp_scale(const BoardParameters& p) {
    const double series_f = p.ramp_upper_f * p.ramp_lower_f / (p.ramp_upper_f + p.ramp_lower_f);
    return p.ramp_supply_v * p.ramp_drive_gain / (series_f * p.vertical_output_sense_ohm);
}

/// Closed forms of the oscillators and the ramp, solved for the control.
void set_up(BoardParameters& p, const BoardParameters& nominal) {
    const auto charge_s = [](const BoardParameters& b) {
        return (b.vertical_oscillator_fixed_ohm + b.vertical_oscillator_hold_ohm) *
               b.vertical_oscillator_capacitor_f * vertical_time_constants(b);
    };
    const double wanted_s =
        charge_s(nominal) + vertical_discharge_s(nominal) - vertical_discharge_s(p);
    p.vertical_oscillator_hold_ohm =
        std::max(0.0, wanted_s / (p.vertical_oscillator_capacitor_f * vertical_time_constants(p)) -
                          p.vertical_oscillator_fixed_ohm);

    const auto line_scale = [](const BoardParameters& b) {
        return b.line_oscillator_reference_v /
               (b.line_oscillator_capacitor_f * b.line_oscillator_swing_v);
    };
    p.line_oscillator_hold_ohm =
        std::max(0.0, (nominal.line_oscillator_fixed_ohm + nominal.line_oscillator_hold_ohm) *
                              line_scale(p) / line_scale(nominal) -
                          p.line_oscillator_fixed_ohm);

    p.ramp_height_ohm = std::max(0.0, (nominal.ramp_fixed_ohm + nominal.ramp_height_ohm) *
                                              ramp_scale(p) / ramp_scale(nominal) -
                                          p.ramp_fixed_ohm);
}

} // namespace

BoardParameters scatter(const BoardParameters& board, std::uint32_t seed, double scale) {
    Random random(seed);
    BoardParameters built = board;
    for (const ParameterInfo& info : kTable) {
        if (info.tolerance > 0) {
            const double factor = 1 + scale * info.tolerance * random.normal();
            double& value = built.*(info.member);
            value = std::clamp(value * factor, info.low, info.high);
        }
    }
    set_up(built, board);
    return built;
}

} // namespace yokedock::sim
