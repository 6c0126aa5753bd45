// SPDX-License-Identifier: MIT
// The measurement without the chip (demo/virtual_bench/model_bench) against the one through
// firmware image and wire, on the same boards and the same bench.
//
// Both see the same board with the same errors of gain, zero and clock, and with noise of their
// own: figures may differ by what is left of their uncertainties, u without its part from the
// scale. Each of some 70 figures of 3 boards is a draw, so 4 standard deviations are allowed: by
// chance one run in 80 would fail, but the seeds are fixed.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "tests/system/measured_board.hpp"
#include <cmath>
#include <ctime>
#include <fmt/core.h>

using namespace yokedock;

namespace {

double processor_s() {
    return static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
}

double own_u(const analysis::Figure& figure) {
    return std::sqrt(std::max(0.0, figure.u * figure.u - figure.u_scale * figure.u_scale));
}

void compare(const char* fault, double severity) {
    INFO("fault " << (fault == nullptr ? "none" : fault));
    const auto file = sim::load_board(std::string(YOKEDOCK_BOARDS) + "/quillwood13.json");
    REQUIRE(file.ok());
    sim::BoardParameters board = file.value().parameters;
    if (fault != nullptr) {
        REQUIRE(sim::apply_fault(board, fault, severity).ok());
    }
    const wire::SyncSettings& sync = *sim::find_standard("525/59.94");
    const double begin_s = processor_s();
    sim::ModelBenchOptions options;
    options.sync = sync;
    const auto model = sim::run_model_bench(board, options);
    const double middle_s = processor_s();
    const test::MeasuredBoard real = test::measure_board(board, sync);
    const double real_s = processor_s() - middle_s;
    fmt::print("{}: model {:.2f} s of processor time, real path {:.2f} s, ratio {:.1f}\n",
               fault == nullptr ? "healthy" : fault, middle_s - begin_s, real_s,
               real_s / (middle_s - begin_s));

    REQUIRE(model.raw.captures.size() == real.outcome.measurement.captures.size());
    for (std::size_t k = 0; k < model.raw.captures.size(); ++k) {
        const capture::RawCapture& a = model.raw.captures[k];
        const capture::RawCapture& b = real.outcome.measurement.captures[k];
        INFO("capture " << k << " " << a.purpose);
        CHECK(a.purpose == b.purpose);
        CHECK(a.aperture_ticks == b.aperture_ticks);
        CHECK(a.conversion_ticks == b.conversion_ticks);
        // The device gives up results that come late: up to 1 % in the vertical capture.
        CHECK(a.samples.ticks.size() >= b.samples.ticks.size());
        CHECK(a.samples.ticks.size() == Approx(b.samples.ticks.size()).epsilon(0.01).margin(3));
        CHECK(a.field_starts.ticks.size() ==
              Approx(b.field_starts.ticks.size()).margin(1)); // captures begin anywhere in a field
        // The device gives up stamps where much comes at once, most where both directions do.
        const bool both = a.settings.line_edge_mode == static_cast<int>(wire::EdgeMode::kBoth);
        CHECK(a.line_edges.ticks.size() ==
              Approx(b.line_edges.ticks.size()).epsilon(both ? 0.04 : 0.005).margin(3));
        CHECK(a.field_edges.ticks.size() == Approx(b.field_edges.ticks.size()).margin(2));
    }
    int compared = 0;
    for (const analysis::Figure& a : model.result.figures) {
        const analysis::Figure* b = analysis::find_figure(real.result.figures, a.name);
        REQUIRE(b != nullptr);
        INFO(a.name << ": model " << a.value << " +- " << own_u(a) << ", real path " << b->value
                    << " +- " << own_u(*b) << " " << a.reason << b->reason);
        CHECK(a.status == b->status);
        if (a.status != analysis::FigureStatus::kMeasured || a.status != b->status) {
            continue;
        }
        // A yes or no and a count of edges must be the same; their u is 0. The sink warms up by
        // some 40 mK a second, and the link makes the real measurement up to 1 s longer.
        const double drift = a.name == "heatsink_c" ? 0.04 : 0;
        CHECK(std::fabs(a.value - b->value) <=
              4 * std::hypot(own_u(a), own_u(*b)) + drift + 1e-9 * std::fabs(a.value));
        ++compared;
    }
    CHECK(compared > 50);
}

} // namespace

TEST_CASE("A healthy board measures the same without the chip") {
    compare(nullptr, 0);
}

TEST_CASE("A dried coupling capacitor measures the same without the chip") {
    compare("v_coupling_dried", 0.4);
}

TEST_CASE("A retrace pulse too short for both its stamps measures the same without the chip") {
    compare("h_retrace_cap_low", 0.5);
}
