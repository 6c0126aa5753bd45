// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "demo/virtual_bench/model_bench/model_device.hpp"
#include <cassert>

namespace yokedock::sim {

namespace {

constexpr double kBetweenCapturesS = 20e-3; ///< stop, drain and start on a real link

capture::BenchInfo bench_info() {
    capture::BenchInfo info;
    info.identity.clock_hz = kModelClockHz;
    info.identity.channels = kChannelCount;
    info.transport = "memory";
    info.address = "model";
    info.simulated = true;
    for (std::size_t k = 0; k < kChannelCount; ++k) {
        info.scale[k] = capture::nominal_scale(static_cast<ChannelId>(k));
    }
    return info;
}

void warm_up(ModelDevice& device, const BoardParameters& board, const ModelBenchOptions& options) {
    if (options.warm_up_s <= 0) {
        return;
    }
    BoardParameters hurried = board;
    hurried.thermal_pace = options.warm_up_pace;
    device.board().configure(hurried);
    device.run(options.warm_up_s / options.warm_up_pace);
    device.board().configure(board);
}

capture::RawMeasurement take_all(ModelDevice& device,
                                 const std::vector<capture::CapturePhase>& phases) {
    capture::RawMeasurement measurement;
    measurement.bench = bench_info();
    for (const capture::CapturePhase& phase : phases) {
        measurement.captures.push_back(device.take(phase));
        device.run(kBetweenCapturesS);
    }
    return measurement;
}

capture::CapturePhase free_run_edges(double seconds) {
    capture::CapturePhase phase{"edges", {}, seconds};
    phase.settings.line_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kRising);
    phase.settings.field_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kRising);
    return phase;
}

} // namespace

ModelMeasurement run_model_bench(const BoardParameters& board, const ModelBenchOptions& options) {
    BoardParameters p = board;
    if (options.seed) {
        p.bench_seed = *options.seed;
        p.bench_noise_seed = *options.seed;
    }
    const sync::PlanResult plan = sync::make_plan(options.sync, kModelClockHz);
    assert(plan.ok);
    ModelDevice device(p, options.live, plan.achieved);
    device.set_output(options.sync_on);
    warm_up(device, p, options);
    device.run(options.settle_s);

    ModelMeasurement measured;
    measured.raw = take_all(
        device, capture::measurement_phases(plan.achieved, options.seconds, options.guarding));
    measured.result = analysis::analyse(capture::to_observation(measured.raw), options.analysis);
    if (options.free_run_s > 0) {
        device.set_output(false);
        device.run(options.free_run_settle_s);
        measured.free_raw = take_all(device, {free_run_edges(options.free_run_s)});
        measured.free_run =
            analysis::analyse(capture::to_observation(measured.free_raw), options.analysis);
    }
    return measured;
}

analysis::FigureSet measure_model(const BoardParameters& board, const ModelBenchOptions& options) {
    ModelMeasurement measured = run_model_bench(board, options);
    analysis::FigureSet figures = std::move(measured.result.figures);
    if (options.free_run_s > 0) {
        for (const char* axis : {"v", "h"}) {
            const analysis::Figure* rate =
                analysis::find_figure(measured.free_run.figures, std::string(axis) + "_rate_hz");
            assert(rate != nullptr); // every figure is always there
            analysis::Figure free_rate = *rate;
            free_rate.name = std::string(axis) + "_free_rate_hz";
            free_rate.text = rate->text + ", sync off";
            figures.push_back(std::move(free_rate));
        }
    }
    return figures;
}

} // namespace yokedock::sim
