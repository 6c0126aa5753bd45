// SPDX-License-Identifier: MIT
#pragma once
#include "host/record/record.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <cmath>

/// A small record of a bench in which every member differs from its default.
inline yokedock::record::Record example_record() {
    using namespace yokedock;
    record::Record record;
    record.tool_version = "0.1.0";
    record.time_utc = "2026-01-31T09:36:12Z";
    record.standard = "525/59.94";
    record.complete = false;
    record.notes = {"Quillwood 13, \"as found\"", "stopped by the user"};
    record.profile = record::Profile{"Quillwood 13",          "525/59.94",       15734.27, 59.94,
                                     {{{1200, 16500}}, 0.25}, {{{9.2, 62}}, 0.4}};
    record.profile->live_to_mains = false;
    record.profile->own_line_output_transformer = true;
    record.profile->simulated = true;
    record.profile->limits.supply_max_v = 27;
    record.profile->limits.line_rate_min_hz = 14500;
    record.profile->vertical_yoke = {22e-3, 11.0, 8};
    record.profile->horizontal_yoke = {320e-6, 0.3, 9};
    record.profile->questions = {{"plugs", "Are the plugs on?"}};
    record.profile->expected["supply_v"] = {24, 0.5, false, record::ExpectationBasis::kSpread,
                                            3,  0.1};
    record.profile->parts = {{"C401",
                              record::Section::kVerticalOutput,
                              record::PartRole::kCouplingCapacitor,
                              record::PartQuantity::kCapacitance,
                              1e-3,
                              20.0,
                              "radial",
                              35.0,
                              1.0,
                              0.5,
                              85.0,
                              {"2026-01-31"},
                              "note"}};
    record.profile->notes = {"a note"};
    record.figures = {
        {"v_rate_hz", "vertical rate", "Hz", 59.94006, 1e-5, 120, "least squares over edges",
         analysis::FigureStatus::kMeasured, "", "", 3e-3, 1e-6},
        {"h_linearity_lsq_pct", "deviation", "%", std::nan(""), std::nan(""), 0, "",
         analysis::FigureStatus::kNotMeasured, "channel h_yoke_a was not sampled", ""},
        {"v_peak_v", "peak", "V", 100, 0.5, 12, "largest", analysis::FigureStatus::kOutOfRange,
         "at the top of its range", "top", 0, 0.4}};
    capture::RawMeasurement raw;
    raw.complete = false;
    raw.bench.identity = {1, 0, 3, 7, 4711, 16000000, 8, 24, 8, 10000000, 20000000, 2000, 3};
    raw.bench.transport = "tcp";
    raw.bench.address = "tcp:127.0.0.1:4100";
    raw.bench.simulated = true;
    raw.bench.clock_u_relative = 2e-5;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        const double n = static_cast<double>(i) + 1;
        raw.bench.scale[i] = {0.1 * n, 1.0 / 3 * n, 1e-3 * n, 2e-3 * n, 1e-6 * n, i % 2 == 0};
    }
    capture::RawCapture c;
    c.purpose = "vertical";
    c.settings.line_edge_mode = 3;
    c.settings.field_edge_mode = 1;
    c.settings.adc_prescale_log2 = 5;
    c.settings.entries = 2;
    c.settings.schedule[0] = {0, 100, 16, 60};
    c.settings.schedule[1] = {6, 40, 0, 1};
    c.plan = sync::make_plan(sync::kStandards[0].settings, 16000000).achieved;
    c.sync_on = true;
    c.aperture_ticks = 64;
    c.conversion_ticks = 432;
    c.begin_ticks = -5;
    c.end_ticks = 5'000'000'000; // beyond 32 bits on purpose
    c.words_dropped = 3;
    c.samples = {{10, 20, 4'999'999'999}, {0, 511, 1023}, {0, 6, 7}};
    c.line_edges = {{7, 9}, {true, false}};
    c.field_edges = {{8}, {false}};
    c.field_starts = {{0, 266934}, {0, c.plan.half_line_denominator - 1}, {false, true}};
    c.gaps = {{wire::BlockKind::kLineEdges, 100, 200}, {wire::BlockKind::kFieldStarts, 1, 2}};
    raw.captures = {c, capture::RawCapture{}};
    record.raw = raw;
    return record;
}

/// The same for an import.
inline yokedock::record::Record example_import() {
    using namespace yokedock;
    record::Record record = example_record();
    record.raw.reset();
    record.profile.reset();
    capture::Observation o;
    o.channels["h_out_v"] = {
        {0, 1e-6, 0.1 + 0.2}, {1.0 / 3, -2, 1e-300}, 0.04, 0.02, 0.1, 1e-6, true};
    o.field_pulses = {{1, 2}, {1.5}, {{3, 4}}, 1e-7};
    o.line_pulses = {{}, {5}, {}, 2e-7};
    o.sync = {{0.5, 0.6}, {true, false}, {0.1, 0.2, 0.3}, 1e-4};
    o.sync_on = true;
    o.line_rate_hz = 15734.2657;
    o.field_rate_hz = 59.94;
    o.interlaced = true;
    o.clock_u_relative = 5e-5;
    o.imported = true;
    record.imported = record::ImportedData{{"a.csv", "b.csv"}, o};
    return record;
}
