// SPDX-License-Identifier: MIT
// The measurement without the chip: repeatable, honest about its seed, and good for faults that
// need a free run or a warm board. tests/system compares it with the real path.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/vertical_oscillator.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

BoardParameters board() {
    return load_board(std::string(YOKEDOCK_BOARDS) + "/quillwood13.json").value().parameters;
}

/// As short as the analysis can do with.
ModelBenchOptions short_options() {
    ModelBenchOptions options;
    options.sync = *find_standard("525/59.94");
    options.settle_s = 0.3;
    options.seconds = {0.2, 0.03, 0.25, 0.05, 0.1};
    return options;
}

double value(const analysis::FigureSet& figures, const char* name) {
    const analysis::Figure* figure = analysis::find_figure(figures, name);
    REQUIRE(figure != nullptr);
    INFO(name << " " << figure->reason);
    CHECK(figure->status == analysis::FigureStatus::kMeasured);
    return figure->value;
}

} // namespace

TEST_CASE("The same board, options and seed are measured alike, another seed is another bench") {
    ModelBenchOptions options = short_options();
    options.seed = 5;
    const ModelMeasurement a = run_model_bench(board(), options);
    const ModelMeasurement b = run_model_bench(board(), options);
    options.seed = 6;
    const ModelMeasurement c = run_model_bench(board(), options);
    REQUIRE(a.raw.captures.size() == b.raw.captures.size());
    for (std::size_t k = 0; k < a.raw.captures.size(); ++k) {
        CHECK(a.raw.captures[k].samples.code == b.raw.captures[k].samples.code);
        CHECK(a.raw.captures[k].line_edges.ticks == b.raw.captures[k].line_edges.ticks);
        CHECK(a.raw.captures[k].field_edges.ticks == b.raw.captures[k].field_edges.ticks);
    }
    CHECK(a.raw.captures[2].samples.code != c.raw.captures[2].samples.code);
    // Gains are off by 0.5 % rms from bench to bench, noise is far below.
    CHECK(value(a.result.figures, "supply_v") != value(c.result.figures, "supply_v"));
    CHECK(value(a.result.figures, "supply_v") ==
          Approx(value(c.result.figures, "supply_v")).epsilon(0.03));
}

TEST_CASE("Sync off after the measurement gives the free-running rates") {
    ModelBenchOptions options = short_options();
    options.free_run_s = 0.3;
    options.free_run_settle_s = 0.2;
    const BoardParameters p = board();
    const analysis::FigureSet figures = measure_model(p, options);
    CHECK(value(figures, "v_locked") == 1);
    CHECK(value(figures, "h_locked") == 1);
    CHECK(value(figures, "v_rate_hz") == Approx(59.94).epsilon(1e-4));
    // Closed form at 25 degC; the board stands at 40 degC by the sink, and drifts by 3e-4 per K of
    // 4.5 K: 0.14 %.
    const double free_hz = 1 / VerticalOscillator(p, 1).free_running_period_s();
    CHECK(value(figures, "v_free_rate_hz") == Approx(free_hz).epsilon(3e-3));
    CHECK(value(figures, "h_free_rate_hz") == Approx(15721).epsilon(1e-4)); // docs: hold 5080 ohm
}

TEST_CASE("A fault that comes and goes is measured as it is, and a warm board as warm") {
    ModelBenchOptions options = short_options();
    options.live = {use_fault("ic_fails_warm", 1).value()};
    BoardParameters p = board();
    p.thermal_start_c = 25;
    const analysis::FigureSet cold = measure_model(p, options);
    CHECK(value(cold, "v_locked") == 1);
    CHECK(value(cold, "heatsink_c") == Approx(25).margin(0.5));
    options.warm_up_s = 900;
    options.warm_up_pace = 3000;
    const analysis::FigureSet warm = measure_model(p, options);
    // The weaker it drives, the less it heats: it settles where most of its drive has gone, between
    // the temperatures at which the fault comes in.
    CHECK(value(warm, "v_yoke_swing_a") < 0.5 * value(cold, "v_yoke_swing_a"));
    CHECK(value(warm, "heatsink_c") > 44);
    CHECK(value(warm, "heatsink_c") < 56);
    CHECK(value(warm, "h_locked") == 1);
}
