// SPDX-License-Identifier: MIT
// Line retrace edges through a whole measurement: what the board gave is what the host counts. An
// edge that the bench did not keep must not look like the board's fault, and one that the board did
// not give must.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "tests/system/measured_board.hpp"
#include <cmath>
#include <fmt/core.h>

using namespace yokedock;

namespace {

/// A board whose line comparator gives no pulse in every skip-th line; 0: gives all. Keeps the time
/// of every edge.
class Skipping final : public sim::BoardPort {
  public:
    Skipping(const sim::BoardParameters& parameters, unsigned skip)
        : board_(parameters), skip_(skip) {}

    void sync_edge(double time_s, bool tip) override { board_.sync_edge(time_s, tip); }
    int adc_code(ChannelId channel, double time_s) override {
        return board_.adc_code(channel, time_s);
    }
    std::optional<sim::RetraceEdge> run_until(double limit_s) override {
        for (;;) {
            const auto edge = board_.run_until(limit_s);
            if (!edge || !edge->line) {
                return edge;
            }
            if (edge->rising) {
                ++pulses_;
            }
            if (skip_ == 0 || pulses_ % skip_ != 0) {
                if (edge->rising) {
                    rise_s.push_back(edge->time_s);
                }
                return edge;
            }
        }
    }

    std::vector<double> rise_s;

  private:
    sim::Board board_;
    unsigned skip_;
    unsigned pulses_ = 0;
};

struct Measured {
    capture::RawMeasurement raw;
    analysis::AnalysisResult result;
    std::vector<double> rise_s; ///< line retrace edges the board gave
};

Measured measure(const sim::BoardParameters& parameters, const std::string& standard,
                 unsigned skip = 0, bool sync_on = true) {
    auto board = std::make_unique<Skipping>(parameters, skip);
    Skipping& skipping = *board;
    auto simulation = sim::BenchSimulation::create(YOKEDOCK_FIRMWARE_ELF, std::move(board));
    REQUIRE(simulation.ok());
    auto bench = bench::Bench::connect(
        std::make_unique<test::SimulationTransport>(*simulation.value()), "simulated");
    REQUIRE(bench.ok());
    REQUIRE(bench.value().set_sync(*sim::find_standard(standard.c_str())).ok());
    REQUIRE(bench.value().sync_output(sync_on).ok());
    REQUIRE(bench.value().wait_ticks(16000000).ok());
    auto outcome = capture::run_measurement(bench.value(), {{}, true});
    REQUIRE_FALSE(outcome.error);
    Measured measured;
    measured.result = analysis::analyse(capture::to_observation(outcome.measurement));
    measured.raw = std::move(outcome.measurement);
    measured.rise_s = std::move(skipping.rise_s);
    return measured;
}

double figure(const Measured& measured, const std::string& name) {
    const analysis::Figure* found = analysis::find_figure(measured.result.figures, name);
    REQUIRE(found != nullptr);
    INFO(name << " " << found->reason);
    REQUIRE(found->status == analysis::FigureStatus::kMeasured);
    return found->value;
}

bool both_edges(const capture::RawCapture& c) {
    return c.settings.line_edge_mode == static_cast<std::uint8_t>(wire::EdgeMode::kBoth);
}

bool rising_only(const capture::RawCapture& c) {
    return c.settings.line_edge_mode == static_cast<std::uint8_t>(wire::EdgeMode::kRising);
}

/// Stamps that stand for no edge of the board, or edges between a capture's first and last stamp
/// that have none. Ticks and the board's time differ by a constant that is the same for all
/// captures; an edge is stamped in the tick after it.
std::size_t mismatches(const Measured& measured) {
    std::vector<std::int64_t> edges;
    for (const double time_s : measured.rise_s) {
        edges.push_back(static_cast<std::int64_t>(std::ceil(time_s * sim::kClockHz - 1e-4)));
    }
    std::size_t best = edges.size();
    const auto& first = measured.raw.captures.front().line_edges.ticks;
    REQUIRE(first.size() > 100);
    for (std::size_t k = 0; k + first.size() <= edges.size(); ++k) {
        const std::int64_t offset = edges[k] - first[0];
        if (std::abs(edges[k + 50] - first[50] - offset) > 2) {
            continue;
        }
        std::size_t wrong = 0;
        for (const capture::RawCapture& c : measured.raw.captures) {
            if (!rising_only(c)) {
                continue;
            }
            const auto& ticks = c.line_edges.ticks;
            auto at = std::lower_bound(edges.begin(), edges.end(), ticks.front() + offset - 1);
            for (const std::int64_t tick : ticks) {
                while (at != edges.end() && *at < tick + offset - 1) {
                    ++at;
                    ++wrong;
                }
                if (at == edges.end() || *at > tick + offset + 1) {
                    ++wrong;
                } else {
                    ++at;
                }
            }
        }
        best = std::min(best, wrong);
        if (best == 0) {
            break;
        }
    }
    return best;
}

sim::BoardParameters design() {
    const auto file = sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json");
    REQUIRE(file.ok());
    return file.value().parameters;
}

} // namespace

TEST_CASE("a healthy board has no edge missing and none too many, and nothing is dropped") {
    for (const std::uint32_t number :
         {0u, 2u, 4u, 6u, 8u}) { // 0: as designed; else its parts' tolerances
        DYNAMIC_SECTION("board " << number) {
            sim::BoardParameters parameters = design();
            if (number != 0) {
                parameters = sim::scatter(parameters, number);
                parameters.bench_noise_seed = number + 1000;
            }
            const Measured measured = measure(parameters, "525/59.94");
            CHECK(figure(measured, "h_locked") == 1);
            for (const char* name :
                 {"h_missing_edges", "h_extra_edges", "v_missing_edges", "v_extra_edges"}) {
                INFO(name);
                CHECK(figure(measured, name) == 0);
            }
            for (const capture::RawCapture& c : measured.raw.captures) {
                if (both_edges(c)) {
                    continue; // more than the device promises: marked where it drops, and no
                              // absence is taken from it
                }
                INFO(c.purpose);
                CHECK(c.words_dropped == 0);
                CHECK(c.gaps.empty());
            }
            CHECK(mismatches(measured) == 0);
        }
    }
}

TEST_CASE("a board that leaves line edges out is told so, edge by edge") {
    for (const unsigned skip : {97u, 500u}) {
        DYNAMIC_SECTION("one in " << skip) {
            const Measured measured = measure(design(), "525/59.94", skip);
            double lines = 0;
            double captures = 0;
            for (const capture::RawCapture& c : measured.raw.captures) {
                if (rising_only(c)) {
                    lines += static_cast<double>(c.end_ticks - c.begin_ticks) /
                             (2 * c.plan.half_line_ticks);
                    captures += 1;
                }
            }
            // A stretch of n lines holds n / skip of them, rounded either way, and one at either
            // end has no edge beyond it to tell.
            const double missing = figure(measured, "h_missing_edges");
            CHECK(missing <= lines / skip + captures);
            CHECK(missing >= lines / skip - 2 * captures);
            CHECK(figure(measured, "h_extra_edges") == 0);
            CHECK(mismatches(measured) == 0);
        }
    }
}

TEST_CASE("a free-running board has no edge missing either, and its ramp folds on its own edges") {
    const Measured measured = measure(design(), "525/59.94", 0, false);
    CHECK(figure(measured, "h_missing_edges") == 0);
    CHECK(figure(measured, "h_extra_edges") == 0);
    CHECK(figure(measured, "h_yoke_swing_a") > 0);
    CHECK(mismatches(measured) == 0);
}
