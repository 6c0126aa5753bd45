// SPDX-License-Identifier: MIT
#include "tests/system/board_scope.hpp"
#include "demo/virtual_bench/board/board_model.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>
#include <random>

namespace yokedock::test {

namespace {

constexpr double kClockHz = 16e6;
constexpr double kSyncV = 0.3; // composite sync alone on 75 ohm, tip at 0 V

double value_of(const sim::BoardModel& board, bool tip, const std::string& name, double t) {
    if (name == "sync_v") {
        return tip ? 0.0 : kSyncV;
    }
    if (name == "h_out_v") {
        return board.line_at(t).collector_v;
    }
    for (std::size_t k = 0; k < std::size(kChannels); ++k) {
        if (name == kChannels[k].name) {
            return board.quantity(static_cast<ChannelId>(k), t);
        }
    }
    FAIL("no channel " << name);
    return 0;
}

} // namespace

const std::vector<double>& BoardWaves::of(const std::string& name) const {
    const auto at = std::find(names.begin(), names.end(), name);
    REQUIRE(at != names.end());
    return values[static_cast<std::size_t>(at - names.begin())];
}

BoardWaves sample_board(const sim::BoardParameters& parameters, const wire::SyncSettings& settings,
                        const std::vector<std::string>& names, double begin_s, double step_s,
                        double length_s) {
    sim::BoardModel board(parameters);
    sim::IdealSync sync(sync::make_plan(settings, static_cast<std::uint32_t>(kClockHz)).achieved,
                        kClockHz);
    const auto run = [&](double limit_s) {
        while (board.run_until(limit_s)) { // edges are for the bench's comparators
        }
    };
    bool tip = false;
    BoardWaves waves{{}, names, std::vector<std::vector<double>>(names.size()), {}};
    const auto count = static_cast<std::size_t>(length_s / step_s);
    for (std::size_t i = 0; i < count; ++i) {
        const double t = begin_s + static_cast<double>(i) * step_s;
        while (sync.peek().time_s <= t) {
            const sim::SyncEdge edge = sync.take();
            run(edge.time_s);
            board.set_sync_tip(edge.time_s, edge.tip);
            tip = edge.tip;
            if (edge.line_start) {
                waves.line_start_s.push_back(edge.time_s);
            }
        }
        run(t);
        waves.time_s.push_back(t);
        for (std::size_t k = 0; k < names.size(); ++k) {
            waves.values[k].push_back(value_of(board, tip, names[k], t));
        }
    }
    return waves;
}

std::string scope_csv(const BoardWaves& waves, std::uint32_t seed) {
    constexpr double kFilled = 0.8;
    constexpr double kNoiseCodes = 0.5;
    constexpr double kBeforeTriggerS = 0.0123;
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, kNoiseCodes);
    std::vector<double> code;
    std::string text = "time_s";
    for (std::size_t k = 0; k < waves.names.size(); ++k) {
        const auto [low, high] =
            std::minmax_element(waves.values[k].begin(), waves.values[k].end());
        code.push_back((*high - *low) / kFilled / 1024);
        text += "," + waves.names[k];
    }
    text += "\n";
    for (std::size_t i = 0; i < waves.time_s.size(); ++i) {
        text += fmt::format("{:.8f}", waves.time_s[i] - waves.time_s.front() - kBeforeTriggerS);
        for (std::size_t k = 0; k < code.size(); ++k) {
            text += fmt::format(",{:.6g}",
                                code[k] * std::round(waves.values[k][i] / code[k] + noise(random)));
        }
        text += "\n";
    }
    return text;
}

double mean(const std::vector<double>& values) {
    double sum = 0;
    for (const double v : values) {
        sum += v;
    }
    return sum / static_cast<double>(values.size());
}

double sine_pp(const std::vector<double>& time_s, const std::vector<double>& values, double hz) {
    const double step_s = time_s[1] - time_s[0];
    const double turns = std::floor((time_s.back() - time_s.front()) * hz / 2) * 2;
    const auto n = std::min(values.size(), static_cast<std::size_t>(turns / hz / step_s));
    const double middle = mean({values.begin(), values.begin() + static_cast<std::ptrdiff_t>(n)});
    double c = 0;
    double s = 0;
    for (std::size_t i = 0; i < n; ++i) {
        c += (values[i] - middle) * std::cos(2 * M_PI * hz * time_s[i]);
        s += (values[i] - middle) * std::sin(2 * M_PI * hz * time_s[i]);
    }
    return 2 * 2 * std::hypot(c, s) / static_cast<double>(n);
}

PulseTruth judge_pulses(const std::vector<double>& time_s, const std::vector<double>& value,
                        double period_s) {
    const double step_s = time_s[1] - time_s[0];
    const auto per_period = static_cast<std::size_t>(period_s / step_s);
    PulseTruth truth;
    std::vector<double> peaks;
    std::vector<double> lows;
    for (std::size_t i = 0; i + per_period <= value.size(); i += per_period) {
        const auto from = value.begin() + static_cast<std::ptrdiff_t>(i);
        const auto [low, high] =
            std::minmax_element(from, from + static_cast<std::ptrdiff_t>(per_period));
        peaks.push_back(*high);
        lows.push_back(*low);
    }
    truth.peak = mean(peaks); // the rail's ripple is in single ones
    truth.lowest = mean(lows);
    std::vector<double> sorted = value;
    std::sort(sorted.begin(), sorted.end());
    const double base = sorted[sorted.size() / 2];
    const auto width = [&](double part, std::vector<double>* rises) {
        const double level = base + part * (truth.peak - base);
        std::vector<double> widths;
        double rise_s = NAN;
        for (std::size_t i = 1; i < value.size(); ++i) {
            const double before = value[i - 1] - level;
            const double now = value[i] - level;
            if ((before < 0) == (now < 0)) {
                continue;
            }
            const double at_s = time_s[i - 1] + step_s * before / (before - now);
            if (now >= 0) {
                rise_s = at_s;
                if (rises != nullptr) {
                    rises->push_back(at_s);
                }
            } else if (!std::isnan(rise_s)) {
                widths.push_back(at_s - rise_s);
            }
        }
        return mean(widths);
    };
    truth.width_50_s = width(0.5, &truth.rise_50_s);
    truth.width_10_s = width(0.1, nullptr);
    return truth;
}

double mean_phase_s(const std::vector<double>& edge_s, const std::vector<double>& start_s,
                    double period_s) {
    std::vector<double> phases;
    for (const double edge : edge_s) {
        const double since = edge - start_s.front();
        phases.push_back(since - period_s * std::round(since / period_s));
    }
    return mean(phases);
}

} // namespace yokedock::test
