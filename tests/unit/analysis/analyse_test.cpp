// SPDX-License-Identifier: MIT
// Whole observations of boards of known truth (synthetic_board.hpp).
#include "host/analysis/analyse.hpp"
#include "host/analysis/ramp.hpp"
#include "tests/unit/analysis/synthetic_board.hpp"
#include <catch2/catch.hpp>
#include <map>
#include <set>

using namespace yokedock;
using namespace yokedock::analysis;
using synthetic::Board;

namespace {

const Figure& figure(const AnalysisResult& r, const std::string& name) {
    const Figure* f = find_figure(r.figures, name);
    INFO(name);
    REQUIRE(f != nullptr);
    return *f;
}

// Definitions of MEASUREMENTS section 2 on the clean curve itself, by brute force.
struct Truth {
    double pp, centring, lsq, end, spacing;
};
template <class F> Truth truth_of(const F& f, double begin, double end) {
    const std::size_t n = 20000;
    std::vector<double> y(n + 1);
    double sum = 0, sum_x = 0, sum_xx = 0;
    for (std::size_t i = 0; i <= n; ++i) {
        const double x = -1 + 2.0 * static_cast<double>(i) / n;
        y[i] = f(begin + (end - begin) * static_cast<double>(i) / n);
        const double w = i == 0 || i == n ? 0.5 : 1;
        sum += w * y[i] / n;
        sum_x += w * x * y[i];
        sum_xx += w * x * x;
    }
    Truth t{y[n] - y[0], sum, 0, 0, 0};
    for (std::size_t i = 0; i <= n; ++i) {
        const double x = -1 + 2.0 * static_cast<double>(i) / n;
        t.lsq = std::max(t.lsq, 100 * std::abs(y[i] - sum - sum_x / sum_xx * x) / t.pp);
        t.end =
            std::max(t.end, 100 * std::abs(y[i] - y[0] * (1 - x) / 2 - y[n] * (1 + x) / 2) / t.pp);
    }
    double low = 1e9, high = -1e9;
    for (std::size_t k = 0; k < 10; ++k) {
        const double step = y[(k + 1) * n / 10] - y[k * n / 10];
        low = std::min(low, step);
        high = std::max(high, step);
    }
    t.spacing = 100 * (high - low) / (high + low);
    return t;
}

void check_near(const AnalysisResult& r, const std::string& name, double truth, double most_u) {
    const Figure& f = figure(r, name);
    INFO(name << " = " << f.value << " +- " << f.u << ", truth " << truth << ", " << f.reason);
    CHECK(f.status == FigureStatus::kMeasured);
    CHECK(std::abs(f.value - truth) <= 3 * f.u); // once in 370, and the seed is fixed
    CHECK(f.u <= most_u);
    CHECK(f.u > 0);
}

} // namespace

TEST_CASE("a locked board: every figure near its truth, none padded") {
    const Board board;
    const AnalysisResult r = analyse(board.observe());
    check_near(r, "v_rate_hz", 1 / board.field_s(), 1e-3);
    check_near(r, "h_rate_hz", 15750, 1e-3);
    CHECK(figure(r, "v_locked").value == 1);
    CHECK(figure(r, "h_locked").value == 1);
    CHECK(figure(r, "v_missing_edges").value == 0);
    CHECK(figure(r, "h_extra_edges").value == 0);
    CHECK(figure(r, "h_rate_hz").u_clock == Approx(15750 * 50e-6));
    check_near(r, "v_phase_us", 200, 0.5);
    check_near(r, "h_phase_us", 2, 0.05);
    check_near(r, "v_jitter_rms_us", 0.5, 0.1);
    check_near(r, "h_jitter_rms_us", 0.04, 0.01);
    check_near(r, "h_line_to_line_us", 0.04 * std::sqrt(2.0), 0.01);
    check_near(r, "v_retrace_pulse_us", 600, 0.2);
    check_near(r, "h_retrace_pulse_us", 11, 0.05);
    check_near(r, "supply_v", 24, 0.15);
    check_near(r, "supply_ripple_v", 0.2, 0.01);
    check_near(r, "supply_a", 0.8, 0.012);
    check_near(r, "heatsink_c", 55, 0.2);
    check_near(r, "ref_v", 2.5, 0.004);
    CHECK(figure(r, "mains_hz").value == 50);
    CHECK(r.warnings.empty());

    const double span = board.v_period() - board.v_retrace_s;
    const auto field = [&](double t) { return board.vertical(t); };
    const Truth v =
        truth_of(field, board.v_retrace_s + 0.05 * span, board.v_retrace_s + 0.95 * span);
    check_near(r, "v_yoke_pp_a", v.pp, 0.006 * v.pp);
    check_near(r, "v_yoke_centring_a", v.centring, 0.005);
    check_near(r, "v_yoke_linearity_lsq_pct", v.lsq, 0.1);
    check_near(r, "v_yoke_linearity_end_pct", v.end, 0.1);
    check_near(r, "v_yoke_spacing_pct", v.spacing, 0.4);
    check_near(r, "v_retrace_us", 0.8 * 600, 12);
    check_near(r, "v_retrace_full_us", 600, 15);
    check_near(r, "v_yoke_crossover_pct", 100, 4);
    CHECK(figure(r, "v_yoke_foldover_pct").value == 0);
    REQUIRE(r.ramps.size() == 2);
    CHECK(r.ramps[0].against_sync);
    for (const RampPlot& plot : r.ramps) {
        REQUIRE(plot.phase_s.size() == plot.fit.size());
        CHECK(std::is_sorted(plot.phase_s.begin(), plot.phase_s.end()));
        CHECK(plot.phase_s.front() < plot.window_begin_s); // the window is not torn apart
        CHECK(plot.phase_s.back() > plot.window_end_s);
    }

    const double h_span = board.h_period() - board.h_retrace_s;
    const Truth h = truth_of([&](double t) { return board.horizontal(t); },
                             board.h_retrace_s + 0.05 * h_span, board.h_retrace_s + 0.95 * h_span);
    check_near(r, "h_yoke_pp_a", h.pp, 0.02);
    check_near(r, "h_yoke_linearity_lsq_pct", h.lsq, 0.1);
    check_near(r, "h_yoke_spacing_pct", h.spacing, 0.4);
    const double part = (M_PI - 2 * std::acos(0.8)) / M_PI;
    check_near(r, "h_retrace_us", 11 * part, 0.15);
    check_near(r, "h_retrace_full_us", 11, 0.5);
}

TEST_CASE("A rise and the next pulse's fall, stamped time and again, are no retrace pulse") {
    Board board;
    capture::Observation o = board.observe();
    // As a device stamps pulses that are too short for it: rise, the next line's fall, and so on.
    capture::PulseTrain& train = o.line_pulses;
    const double from = 0.9 * board.duration_s;
    std::vector<double> rise;
    std::vector<double> fall;
    std::size_t k = 0;
    for (std::size_t i = 0; i + 1 < train.rise_s.size(); ++i) {
        if (train.rise_s[i] < from) {
            rise.push_back(train.rise_s[i]);
        } else if (k++ % 2 == 0) {
            rise.push_back(train.rise_s[i]);
            fall.push_back(train.fall_s[i + 1]);
        }
    }
    train.rise_s = rise;
    train.fall_s = fall;
    train.unwatched.push_back({from, board.duration_s});
    const AnalysisResult r = analyse(o);
    const Figure* pulse = find_figure(r.figures, "h_retrace_pulse_us");
    REQUIRE(pulse != nullptr);
    CHECK(pulse->status == FigureStatus::kNotMeasured);
    CHECK(pulse->reason.find("different pulses") != std::string::npos);
    const Figure* rate = find_figure(r.figures, "h_rate_hz");
    REQUIRE(rate != nullptr);
    CHECK(rate->value == Approx(board.line_rate_hz).epsilon(1e-5));
}

TEST_CASE("a free-running board is not locked, and its ramps are folded on its own edges") {
    Board board;
    board.vertical_rate = 0.97;
    board.horizontal_rate = 1.002;
    const AnalysisResult r = analyse(board.observe());
    CHECK(figure(r, "v_locked").value == 0);
    CHECK(figure(r, "h_locked").value == 0);
    check_near(r, "v_rate_hz", 0.97 / board.field_s(), 1e-3);
    check_near(r, "h_rate_hz", 15750 * 1.002, 1e-3);
    const double span = board.v_period() - board.v_retrace_s;
    const Truth v = truth_of([&](double t) { return board.vertical(t); },
                             board.v_retrace_s + 0.05 * span, board.v_retrace_s + 0.95 * span);
    check_near(r, "v_yoke_pp_a", v.pp, 0.006 * v.pp);
    check_near(r, "v_yoke_linearity_lsq_pct", v.lsq, 0.1);
    check_near(r, "v_retrace_full_us", 600, 15);
    const double h_span = board.h_period() - board.h_retrace_s;
    const Truth h = truth_of([&](double t) { return board.horizontal(t); },
                             board.h_retrace_s + 0.05 * h_span, board.h_retrace_s + 0.95 * h_span);
    check_near(r, "h_yoke_pp_a", h.pp, 0.025);
    check_near(r, "h_yoke_linearity_lsq_pct", h.lsq, 0.15);
}

TEST_CASE("a window fixed to sync is used when locked") {
    Board board;
    AnalysisOptions options;
    options.vertical_window = SyncWindow{1.2e-3, 16.4e-3};
    const AnalysisResult r = analyse(board.observe(), options);
    const Truth v = truth_of([&](double t) { return board.vertical(t); }, 1.0e-3, 16.2e-3);
    check_near(r, "v_yoke_pp_a", v.pp, 0.006 * v.pp);
    check_near(r, "v_yoke_linearity_end_pct", v.end, 0.1);
    CHECK(figure(r, "v_yoke_pp_a").method.find("after sync") != std::string::npos);
    board.vertical_rate = 0.97;
    CHECK_FALSE(analyse(board.observe(), options).warnings.empty());
}

TEST_CASE("an oscilloscope file of the vertical current alone still gives rate, size and shape") {
    Board board;
    board.sync_on = false;
    board.stamps = false;
    capture::Observation all = board.observe();
    capture::Observation o;
    o.imported = true;
    o.channels["v_yoke_a"] = all.channels["v_yoke_a"];
    const AnalysisResult r = analyse(o);
    check_near(r, "v_rate_hz", 1 / board.field_s(), 2e-3);
    check_near(r, "v_retrace_full_us", 600, 15);
    check_near(r, "v_yoke_pp_a", 0.9 * 0.7, 0.02);
    for (const char* name :
         {"h_rate_hz", "h_yoke_pp_a", "supply_v", "v_locked", "v_out_max_v", "ref_v"}) {
        const Figure& f = figure(r, name);
        CHECK(f.status == FigureStatus::kNotMeasured);
        CHECK(std::isnan(f.value));
        CHECK_FALSE(f.reason.empty());
    }
}

TEST_CASE("an empty observation gives every figure, each not measured with a reason") {
    const AnalysisResult r = analyse({});
    CHECK(r.figures.size() > 60);
    std::set<std::string> names;
    for (const Figure& f : r.figures) {
        INFO(f.name);
        CHECK(f.status == FigureStatus::kNotMeasured);
        CHECK_FALSE(f.reason.empty());
        CHECK(names.insert(f.name).second);
    }
    const AnalysisResult full = analyse(Board{}.observe());
    CHECK(full.figures.size() == r.figures.size()); // the same list whatever was seen
}

TEST_CASE("one sample per line without edges cannot show a line ramp, and says so") {
    Board board;
    board.stamps = false;
    board.sync_on = false;
    const AnalysisResult r = analyse(board.observe());
    CHECK(figure(r, "h_yoke_pp_a").status == FigureStatus::kNotMeasured);
    CHECK(figure(r, "v_yoke_pp_a").status == FigureStatus::kMeasured);
}

TEST_CASE("a reference 1 percent off puts the bench in doubt") {
    Board board;
    board.reference_v = 2.525;
    const AnalysisResult r = analyse(board.observe());
    REQUIRE(r.warnings.size() == 1);
    CHECK(r.warnings[0].find("bench itself") != std::string::npos);
    check_near(r, "ref_error_mv", 25, 4);
}

TEST_CASE("hum in the size is measured, and taken out of the shape") {
    Board board;
    board.size_hum = 0.01;
    const AnalysisResult r = analyse(board.observe());
    check_near(r, "v_yoke_hum_size_pct", 2.0, 0.1);
    const double span = board.v_period() - board.v_retrace_s;
    const Truth v = truth_of([&](double t) { return board.vertical(t); },
                             board.v_retrace_s + 0.05 * span, board.v_retrace_s + 0.95 * span);
    check_near(r, "v_yoke_linearity_lsq_pct", v.lsq, 0.1);
    check_near(r, "v_yoke_pp_a", v.pp, 0.006 * v.pp);
}

TEST_CASE("mains next to the field rate is said to be inseparable from shape") {
    Board board;
    board.mains_hz = 60; // field 60.115 Hz: a turn of the beat takes 9 s
    const AnalysisResult r = analyse(board.observe());
    CHECK(figure(r, "v_yoke_hum_size_pct").status == FigureStatus::kNotMeasured);
    CHECK(figure(r, "v_yoke_hum_size_pct").reason.find("beats") != std::string::npos);
}

TEST_CASE("2 u covers the truth of the main figures over random boards, benches with wrong gain "
          "and zero") {
    std::map<std::string, synthetic::Coverage> coverage;
    for (unsigned seed = 1; seed <= 100; ++seed) {
        std::mt19937 random(1000 + seed);
        std::uniform_real_distribution<double> uniform(0, 1);
        std::normal_distribution<double> normal(0, 1);
        Board board;
        board.seed = seed;
        board.duration_s = 0.6;
        board.v_bend = 0.05 + 0.3 * uniform(random);
        board.v_peak = 0.3 + 0.1 * uniform(random);
        board.h_peak = 0.9 + 0.6 * uniform(random);
        board.h_s_q = 0.3 + 0.4 * uniform(random);
        board.v_offset = 0.02 * (uniform(random) - 0.5);
        board.v_retrace_s = (300 + 500 * uniform(random)) * 1e-6;
        board.h_retrace_s = (9.5 + 3 * uniform(random)) * 1e-6;
        board.line_rate_hz = 15750 * (1 + 1e-3 * normal(random));
        board.rail_v = 20 + 10 * uniform(random);
        board.amps = 0.5 + uniform(random);
        board.celsius = 40 + 30 * uniform(random);
        capture::Observation o = board.observe();
        for (auto& [name, s] :
             o.channels) { // this bench's own errors, drawn from what the channel states
            const double gain = 1 + s.gain_u_relative * normal(random);
            const double zero = s.zero_u * normal(random);
            for (double& v : s.value) {
                v = v * gain + zero;
            }
        }
        const AnalysisResult r = analyse(o);
        const double span = board.v_period() - board.v_retrace_s;
        const Truth v = truth_of([&](double t) { return board.vertical(t); },
                                 board.v_retrace_s + 0.05 * span, board.v_retrace_s + 0.95 * span);
        const double h_span = board.h_period() - board.h_retrace_s;
        const Board::Joint joint = board.joint();
        const Truth h =
            truth_of([&](double t) { return board.horizontal(t, joint); },
                     board.h_retrace_s + 0.05 * h_span, board.h_retrace_s + 0.95 * h_span);
        const double part = (M_PI - 2 * std::acos(0.8)) / M_PI;
        const std::pair<const char*, double> list[] = {
            {"v_rate_hz", 1 / board.field_s()},
            {"h_rate_hz", board.line_rate_hz},
            {"v_yoke_pp_a", v.pp},
            {"v_yoke_centring_a", v.centring},
            {"v_yoke_linearity_lsq_pct", v.lsq},
            {"v_yoke_linearity_end_pct", v.end},
            {"v_yoke_spacing_pct", v.spacing},
            {"h_yoke_pp_a", h.pp},
            {"h_yoke_linearity_lsq_pct", h.lsq},
            {"h_yoke_spacing_pct", h.spacing},
            {"v_retrace_us", 0.8e6 * board.v_retrace_s},
            {"v_retrace_full_us", 1e6 * board.v_retrace_s},
            {"h_retrace_us", 1e6 * part * board.h_retrace_s},
            {"h_retrace_full_us", 1e6 * board.h_retrace_s},
            {"supply_v", board.rail_v},
            {"supply_a", board.amps},
            {"supply_ripple_v", 2 * board.ripple_v},
            {"heatsink_c", board.celsius},
            {"v_jitter_rms_us", 0.5},
            {"h_jitter_rms_us", 0.04},
            {"v_retrace_pulse_us", 1e6 * board.v_retrace_s},
        };
        for (const auto& [name, truth] : list) {
            const Figure& f = figure(r, name);
            INFO(seed << " " << name << ": " << f.reason);
            REQUIRE(f.status == FigureStatus::kMeasured);
            coverage[name].add(f.value, f.u, truth);
        }
    }
    for (const auto& [name, c] : coverage) {
        INFO(name << ": share " << c.share() << ", rms error " << c.rms_error() << ", rms u "
                  << c.rms_u() << ", mean error " << c.mean_error());
        // 100 trials of 95.4 %: below 0.88 once in 1000. Above 99 % tells of padding only with the
        // rms too: u may not be more than twice what the errors are.
        CHECK(c.share() >= 0.88);
        CHECK(c.rms_u() < 2 * c.rms_error());
    }
}
