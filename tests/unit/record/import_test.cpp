// SPDX-License-Identifier: MIT
#include "host/record/import.hpp"
#include "host/record/pulses.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;

namespace {

/// Composite sync as the shared tables make it: level over time, and where lines and fields start.
struct SyncWave {
    std::vector<double> edge_s; ///< alternating: down, up, down, ...
    std::vector<double> line_start_s;
    std::vector<double> field_start_s;
    std::vector<bool> mid_line;

    [[nodiscard]] bool tip_at(double time_s) const {
        const auto next = std::upper_bound(edge_s.begin(), edge_s.end(), time_s);
        return (next - edge_s.begin()) % 2 == 1;
    }
};

SyncWave make_sync(const sync::Standard& standard, int fields) {
    constexpr double kTickS = 1 / 16e6;
    const wire::SyncAchieved plan = sync::make_plan(standard.settings, 16000000).achieved;
    const double half_s =
        kTickS * (plan.half_line_ticks +
                  static_cast<double>(plan.half_line_numerator) / plan.half_line_denominator);
    SyncWave wave;
    std::int64_t half_lines = 0;
    for (int f = 0; f < fields; ++f) {
        const bool mid = half_lines % 2 != 0;
        wave.field_start_s.push_back(static_cast<double>(half_lines) * half_s);
        wave.mid_line.push_back(mid);
        const sync::FieldProgram program = sync::make_field_program(plan, mid);
        for (int s = 0; s < program.count; ++s) {
            const sync::Segment& segment = program.segments[s];
            for (int slot = 0; slot < segment.slots; ++slot) {
                const double at = static_cast<double>(half_lines) * half_s;
                if (half_lines % 2 == 0) {
                    wave.line_start_s.push_back(at);
                }
                wave.edge_s.push_back(at);
                wave.edge_s.push_back(at + segment.ticks * kTickS);
                half_lines += segment.half_lines_per_slot;
            }
        }
    }
    return wave;
}

struct Sampled {
    std::vector<double> time_s;
    std::vector<double> value;
};

/// 10-bit codes over 5 V with noise of one code, like an oscilloscope would export.
Sampled sample_sync(const SyncWave& wave, double step_s, double tip_v, double high_v) {
    std::mt19937 random(1);
    std::normal_distribution<double> noise(0, 5.0 / 1024);
    Sampled out;
    const double begin_s = 37.3e-6; // anywhere but on a line start
    for (double t = begin_s; t < wave.edge_s.back() - 1e-4; t += step_s) {
        const double v = (wave.tip_at(t) ? tip_v : high_v) + noise(random);
        out.time_s.push_back(t);
        out.value.push_back(std::round(v * 1024 / 5) * 5 / 1024);
    }
    return out;
}

} // namespace

TEST_CASE("pulses are found at half height with edges between the samples") {
    // Half sine of 12 us base and 100 V at 1 us steps: 50 % points are 12 us * (1 - 2/6) = 8 us
    // apart.
    Sampled s;
    for (int i = 0; i < 640; ++i) {
        const double t = i * 1e-6;
        const double phase = std::fmod(t, 64e-6) - 20.37e-6;
        s.time_s.push_back(t);
        s.value.push_back(phase > 0 && phase < 12e-6 ? 100 * std::sin(M_PI * phase / 12e-6) : 0);
    }
    const auto pulses = find_pulses(s.time_s, s.value, false, 1);
    REQUIRE(pulses.size() == 10);
    for (std::size_t i = 0; i < pulses.size(); ++i) {
        // A straight line through a sine of this slope is off by at most h^2 |f''| / (8 f') = 0.02
        // us, and the peak seen at 1 us steps is up to 0.9 % low, which moves each 50 % point by
        // 0.02 us.
        CHECK(pulses[i].begin_s ==
              Approx(22.37e-6 + 64e-6 * static_cast<double>(i)).margin(0.05e-6));
        CHECK(pulses[i].end_s == Approx(30.37e-6 + 64e-6 * static_cast<double>(i)).margin(0.05e-6));
    }
}

TEST_CASE("a jump between two samples hides its place in the whole step, a slope in a part of it") {
    for (const double rise_us : {0.1, 10.0}) {
        Sampled s;
        for (int i = 0; i < 640; ++i) {
            const double phase = std::fmod(i, 64.0) - 20.37;
            s.time_s.push_back(i * 1e-6);
            s.value.push_back(phase < 20 ? std::clamp(phase / rise_us, 0.0, 1.0) : 0);
        }
        // The jump's step sees all of the swing; a slope of 10 samples a tenth of it each.
        CHECK(typical_gap(find_pulses(s.time_s, s.value, false, 0.5)) ==
              Approx(rise_us < 1 ? 1e-6 : 0.1e-6).epsilon(0.01));
    }
    CHECK(typical_gap({}) == 0);
    const SyncWave wave = make_sync(sync::kStandards[0], 3);
    const Sampled s = sample_sync(wave, 1e-6, 0, 4);
    CHECK(read_sync(s.time_s, s.value, 15734.27).resolution_s == Approx(1e-6).epsilon(0.02));
}

TEST_CASE("noise on an edge does not make more pulses, and a pulse cut off at an end is left out") {
    std::mt19937 random(2);
    std::normal_distribution<double> noise(0, 1); // 1 % of the swing; hysteresis is 5 % each side
    Sampled s;
    for (int i = 0; i < 2000; ++i) {
        s.time_s.push_back(i);
        // Slow edges of 100 samples: the middle is crossed many times by noise alone. Starts and
        // ends high.
        s.value.push_back(50 +
                          std::max(-50.0, std::min(50.0, 150 * std::cos(2 * M_PI * i / 1000.0))) +
                          noise(random));
    }
    const auto pulses = find_pulses(s.time_s, s.value, false, 1);
    REQUIRE(pulses.size() == 1);
    CHECK(pulses[0].begin_s == Approx(750).margin(10));
    CHECK(pulses[0].end_s == Approx(1250).margin(10));
    CHECK(find_pulses(s.time_s, s.value, false, 1000).empty());
    CHECK(find_pulses({}, {}, false, 0).empty());
    CHECK(find_pulses({0, 1}, {5, 5}, false, 0).empty());
}

TEST_CASE("composite sync of every standard, either polarity, is read back from 1 us samples") {
    for (const sync::Standard& standard : sync::kStandards) {
        for (const double tip_v : {0.0, 4.0}) {
            INFO(standard.name << " tip " << tip_v);
            const SyncWave wave = make_sync(standard, 4);
            const Sampled s = sample_sync(wave, 1e-6, tip_v, 4 - tip_v);
            const double rate_hz = static_cast<double>(standard.settings.line_rate_numerator) /
                                   standard.settings.line_rate_denominator;
            const capture::SyncTimeline sync = read_sync(s.time_s, s.value, rate_hz);
            // The samples start after the first field start and end before a fifth.
            REQUIRE(sync.field_start_s.size() == 3);
            for (std::size_t i = 0; i < 3; ++i) {
                // A step in 1 us samples is placed within one step.
                CHECK(sync.field_start_s[i] == Approx(wave.field_start_s[i + 1]).margin(1.05e-6));
                CHECK(sync.field_mid_line[i] == wave.mid_line[i + 1]);
            }
            CHECK(sync.vertical_sync_offset_s ==
                  Approx(standard.settings.pre_pulses * 0.5 / rate_hz).margin(2.1e-6));
            // Every line start of the second field on, none twice, none half-way. With an unbroken
            // vertical pulse the lines inside it have no edge.
            const auto from =
                std::upper_bound(wave.line_start_s.begin(), wave.line_start_s.end(), 1e-3);
            std::size_t found = 0;
            std::size_t wrong = 0;
            for (const double start : sync.line_start_s) {
                const auto at = std::lower_bound(wave.line_start_s.begin(), wave.line_start_s.end(),
                                                 start - 2e-6);
                const bool is = at != wave.line_start_s.end() && std::abs(*at - start) < 1.05e-6;
                found += is && start > 1e-3 ? 1 : 0;
                wrong += is ? 0 : 1;
            }
            CHECK(wrong == 0);
            const bool plain = (standard.settings.flags & wire::kSyncPlainVertical) != 0;
            const auto all = static_cast<std::size_t>(
                std::lower_bound(from, wave.line_start_s.end(), s.time_s.back() - 6e-6) - from);
            CHECK(found <= all);
            CHECK(found + (plain ? 3 * 3 : 0) >= all);
        }
    }
}

TEST_CASE("sync that the steps cannot resolve is not read at all, and a warning says so") {
    const SyncWave wave = make_sync(sync::kStandards[0], 3);
    const Sampled s = sample_sync(wave, 20e-6, 0, 4);
    CHECK(read_sync(s.time_s, s.value, 15734.27).line_start_s.empty());
    CsvTable table{s.time_s, {"sync_v"}, {s.value}, {}};
    ImportOptions options;
    options.line_rate_hz = 15734.27;
    const auto import = import_tables({table}, {"a.csv"}, options);
    REQUIRE(import);
    CHECK_FALSE(import.value().observation.sync_on);
    REQUIRE(import.value().warnings.size() == 1);
    CHECK_THAT(import.value().warnings[0], Contains("sync_v"));
}

TEST_CASE("files imported together stand one after the other, with the pause not watched") {
    const CsvTable vertical{{0, 1e-3, 2e-3}, {"v_yoke_a"}, {{1, 2, 3}}, {}};
    const CsvTable horizontal{{-1e-3, 0, 1e-3}, {"h_yoke_a"}, {{4, 5, 6}}, {}};
    const auto import = import_tables({vertical, horizontal}, {"v.csv", "h.csv"}, {});
    REQUIRE(import);
    const capture::Observation& o = import.value().observation;
    CHECK(o.imported);
    CHECK(o.channels.at("h_yoke_a").time_s.front() > o.channels.at("v_yoke_a").time_s.back());
    REQUIRE(o.line_pulses.unwatched.size() == 1);
    CHECK(o.line_pulses.unwatched[0].begin_s == 2e-3);
    CHECK(o.line_pulses.unwatched[0].end_s == o.channels.at("h_yoke_a").time_s.front());

    const auto twice = import_tables({vertical, vertical}, {"a.csv", "b.csv"}, {});
    REQUIRE_FALSE(twice);
    CHECK_THAT(twice.error().text, Contains("b.csv") && Contains("v_yoke_a is in an earlier file"));
}

TEST_CASE("a capture of too few fields or lines is warned about with what it holds") {
    ImportOptions options;
    options.field_rate_hz = 50;
    options.line_rate_hz = 15625;
    const auto warnings = [&](const char* channel, double length_s) {
        const CsvTable table{{0, length_s / 2, length_s}, {channel}, {{1, 2, 3}}, {}};
        return import_tables({table}, {"a.csv"}, options).value().warnings;
    };
    CHECK(warnings("v_yoke_a", 0.1201).empty());
    REQUIRE(warnings("v_yoke_a", 0.03).size() == 1);
    CHECK_THAT(warnings("v_yoke_a", 0.03)[0], Contains("a.csv") && Contains("1.5 fields"));
    CHECK(warnings("h_yoke_a", 20.1 / 15625).empty());
    CHECK_THAT(warnings("h_yoke_a", 10.0 / 15625)[0], Contains("10 lines"));
    CHECK(warnings("supply_v", 1e-3).empty()); // no part of either axis
    options.field_rate_hz = 0;
    CHECK(warnings("v_yoke_a", 0.03).empty());
}

TEST_CASE("a ramp that the instrument cut off is warned about, one that it did not is not") {
    const auto warnings = [](double limit, double code) {
        std::mt19937 random(3);
        std::normal_distribution<double> noise(0, 0.5);
        CsvTable table{{}, {"v_yoke_a"}, {{}}, {}};
        for (int i = 0; i < 6000; ++i) {
            const double t = i * 20e-6;
            const double phase = std::fmod(t * 60, 1.0);
            const double ramp =
                phase < 0.95 ? 2 * phase / 0.95 - 1 : std::cos(M_PI * (phase - 0.95) / 0.05);
            const double v = code * std::round(0.4 * ramp / code + noise(random));
            table.time_s.push_back(t);
            table.columns[0].push_back(std::clamp(v, -limit, limit));
        }
        return import_tables({table}, {"a.csv"}, {}).value().warnings;
    };
    CHECK(warnings(1, 0.002).empty());
    CHECK(warnings(1, 0.02).empty()); // 40 codes: one in forty samples at each
    const auto cut = warnings(150 * 0.002, 0.002);
    REQUIRE(cut.size() == 2);
    CHECK_THAT(cut[0], Contains("a.csv") && Contains("v_yoke_a") && Contains("-0.3 A"));
}

TEST_CASE("figures of an import know nothing of the bench's ranges") {
    CsvTable table{{}, {"supply_v"}, {{}}, {}};
    for (int i = 0; i < 6000; ++i) { // 140 V; the bench reads 62.5 V at the most
        table.time_s.push_back(i * 20e-6);
        table.columns[0].push_back(140.0 + 0.1 * (i % 2));
    }
    const auto import = import_tables({table}, {"a.csv"}, {});
    REQUIRE(import);
    CHECK_FALSE(import.value().observation.channels.at("supply_v").of_bench);
}

TEST_CASE("options that name nothing are usage errors, not silence") {
    const CsvTable vertical{{0, 1e-3, 2e-3}, {"v_yoke_a"}, {{1, 2, 3}}, {}};
    ImportOptions options;
    options.csv.scales["v_yoke"] = 2;
    CHECK(import_tables({vertical}, {"a.csv"}, options).error().kind == ErrorKind::kUsage);
    options.csv.scales = {{"h_yoke_a", 2}};
    CHECK_THAT(import_tables({vertical}, {"a.csv"}, options).error().text,
               Contains("--scale h_yoke_a"));
    options.csv.scales.clear();
    options.csv.column_headers["h_yoke_a"] = "CH2";
    CHECK_THAT(import_tables({vertical}, {"a.csv"}, options).error().text,
               Contains("--column h_yoke_a"));
}

TEST_CASE("one code of the instrument is found from the values") {
    CsvTable table{{}, {"v_yoke_a", "v_out_v"}, {{}, {}}, {}};
    for (int i = 0; i < 1000; ++i) {
        table.time_s.push_back(i * 20e-6);
        table.columns[0].push_back(std::round(400 * std::sin(i * 0.01)) * 0.0039);
        table.columns[1].push_back(std::sin(i * 0.01)); // not quantised
    }
    const auto import = import_tables({table}, {"a.csv"}, {});
    REQUIRE(import);
    CHECK(import.value().observation.channels.at("v_yoke_a").resolution == Approx(0.0039));
    CHECK(import.value().observation.channels.at("v_out_v").resolution == 0);
}

TEST_CASE("retrace pulses come from the output nodes where the steps are fine enough") {
    CsvTable table{{}, {"h_out_v"}, {{}}, {}};
    for (int i = 0; i < 640; ++i) {
        const double t = i * 1e-6;
        const double phase = std::fmod(t, 64e-6) - 20.37e-6;
        table.time_s.push_back(t);
        table.columns[0].push_back(phase > 0 && phase < 12e-6 ? 100 * std::sin(M_PI * phase / 12e-6)
                                                              : 0);
    }
    ImportOptions options;
    CHECK(
        import_tables({table}, {"a.csv"}, options).value().observation.line_pulses.rise_s.empty());
    options.line_rate_hz = 15625;
    CHECK(
        import_tables({table}, {"a.csv"}, options).value().observation.line_pulses.rise_s.size() ==
        10);
}
