// SPDX-License-Identifier: MIT
// Every fault moves at least one true figure of the board the way circuit theory says it must. The
// truth is read off noiseless waveforms; directions are those of the circuits themselves (the
// comment beside each says why), and bounds are loose: half of the expected change or less.
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/faults.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include <cmath>
#include <complex>
#include <numbers>
#include <set>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

const wire::SyncSettings& sync_525() {
    return *find_standard("525/59.94");
}

BoardTruth truth_of(const BoardParameters& p, bool sync, double settle_s = 0.2) {
    TruthOptions options;
    options.settle_s = settle_s;
    options.watch_s = 0.1;
    options.sync = sync;
    return measure_truth(p, sync_525(), options);
}

BoardParameters board_with(const char* id, double severity) {
    BoardParameters p = quiet_board();
    REQUIRE(apply_fault(p, id, severity).ok());
    return p;
}

const BoardTruth& healthy(bool sync) {
    static const BoardTruth kLocked = truth_of(quiet_board(), true);
    static const BoardTruth kFree = truth_of(quiet_board(), false);
    return sync ? kLocked : kFree;
}

/// A fault, how bad, with sync or free-running, and what must be seen: h healthy, f faulty.
struct Show {
    const char* id;
    double severity;
    bool sync;
    bool (*seen)(const BoardTruth& h, const BoardTruth& f);
    double settle_s = 0.2;
};

/// Rows differ in values, not in code: under the sanitizers, ten times slower, every fifth will do.
#ifdef __SANITIZE_ADDRESS__
constexpr std::size_t kEvery = 5;
#else
constexpr std::size_t kEvery = 1;
#endif

bool near(double a, double b, double part) {
    return std::fabs(a - b) <= part * std::fabs(b);
}

using T = BoardTruth;

const Show kShows[] = {
    // Supply. The ramp's reference is regulated: a high rail leaves the size and shortens retrace.
    {"supply_high", 1, true,
     [](const T& h, const T& f) {
         return f.supply_v > 1.15 * h.supply_v &&
                near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.02) &&
                f.vertical.retrace_10_90_s < h.vertical.retrace_10_90_s;
     }},
    {"supply_low", 0.5, true, // out of regulation: the ripple comes through
     [](const T& h, const T& f) {
         return f.supply_v < 0.9 * h.supply_v && f.supply_ripple_v > 5 * h.supply_ripple_v;
     }},
    {"reservoir_dried", 0.5, true,
     [](const T& h, const T& f) { return f.supply_ripple_v > 10 * h.supply_ripple_v; }},
    {"rail_resistance", 1, true,
     [](const T& h, const T& f) { return f.supply_v < 0.85 * h.supply_v; }},
    {"decoupling_dried", 1, true, // only what the regulator's own resistance lets through
     [](const T& h, const T& f) { return f.supply_ripple_v > 1.1 * h.supply_ripple_v; }},

    // Sync. Free runs stay right; what is lost is the hold.
    {"sync_weak", 1, true,
     [](const T&, const T& f) {
         return !f.field.locked && !f.line.locked &&
                near(f.line.rate_hz, healthy(false).line.rate_hz, 1e-4);
     }},
    {"sync_coupling_dried", 1, true,
     [](const T&, const T& f) {
         return !f.field.locked && near(f.field.rate_hz, healthy(false).field.rate_hz, 2e-3);
     }},
    {"sync_integrator_open", 1, true,
     [](const T&, const T& f) { return !f.field.locked && f.line.locked; }},
    {"sync_differentiator_open", 1, true,
     [](const T&, const T& f) { return f.field.locked && !f.line.locked; }},

    // Vertical oscillator: period R C ln(...).
    {"v_timing_resistor_high", 0.5, false,
     [](const T& h, const T& f) { return f.field.rate_hz < 0.8 * h.field.rate_hz; }},
    {"v_timing_cap_low", 0.5, false, // 1/C of sqrt(0.93 * 0.3)
     [](const T& h, const T& f) { return near(f.field.rate_hz, h.field.rate_hz / 0.528, 0.03); }},
    {"v_timing_cap_leaky", 0.5, false,
     [](const T& h, const T& f) { return f.field.rate_hz < 0.93 * h.field.rate_hz; }},
    {"v_timing_cap_leaky", 1, false, [](const T&, const T& f) { return !f.field.running; }},
    {"v_oscillator_dead", 0, true,
     [](const T&, const T& f) { return !f.field.running && f.line.locked; }},
    {"v_warm_drift", 1, false, // at the start's 40 degC already a little
     [](const T& h, const T& f) { return f.field.rate_hz > 1.03 * h.field.rate_hz; }},

    // Ramp: current into the capacitors in series, fed back integral against the bow.
    {"ramp_cap_low", 0, true,
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak > 1.02 * h.vertical.peak_to_peak &&
                f.vertical.linearity_lsq_pct > 1.5 * h.vertical.linearity_lsq_pct;
     }},
    {"ramp_cap_leaky", 1, true,
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak < 0.9 * h.vertical.peak_to_peak &&
                f.vertical.linearity_lsq_pct > 2 * h.vertical.linearity_lsq_pct;
     }},
    {"ramp_resistor_high", 0.5, true,
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak < 0.75 * h.vertical.peak_to_peak;
     }},
    {"linearity_open", 1, true, // the bow alone
     [](const T& h, const T& f) {
         return f.vertical.linearity_lsq_pct > 3 * h.vertical.linearity_lsq_pct &&
                near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.05);
     }},
    {"ramp_cap_swapped", 1, true,
     [](const T& h, const T& f) {
         return f.vertical.linearity_lsq_pct > 5 * h.vertical.linearity_lsq_pct;
     }},

    // Vertical output.
    {"v_coupling_dried", 0.5, true,
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak < 0.96 * h.vertical.peak_to_peak &&
                f.vertical.retrace_extremes_s > 1.8 * h.vertical.retrace_extremes_s;
     }},
    {"v_coupling_leaky", 0.7, true, // the leak's current goes through the yoke
     [](const T& h, const T& f) {
         return std::fabs(f.vertical.centring - h.vertical.centring) > 0.02 &&
                near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.1);
     }},
    {"v_sense_high", 0.5, true, // the voltage at it stays, the current does not
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak < 0.7 * h.vertical.peak_to_peak &&
                f.v_out_min_v > h.v_out_min_v + 1 &&
                f.vertical.retrace_10_90_s < 0.8 * h.vertical.retrace_10_90_s;
     }},
    {"v_output_dead", 1, true,
     [](const T& h, const T& f) {
         return !f.field.running && f.v_out_max_v < 1 && f.supply_a < h.supply_a - 0.05;
     }},
    {"v_damping_open", 1, true, // without the resistor's own current retrace is over sooner
     [](const T& h, const T& f) {
         return f.vertical.retrace_extremes_s < 0.95 * h.vertical.retrace_extremes_s;
     }},
    {"ic_fails_warm", 0, true, // all of it, whatever the temperature
     [](const T& h, const T& f) {
         return f.vertical.peak_to_peak < 0.96 * h.vertical.peak_to_peak;
     }},
    {"v_ic_reversed", 1, true,
     [](const T& h, const T& f) { return !f.field.running && f.supply_a > 5 * h.supply_a; }},

    // Boost. The output node tells an open capacitor from a dead path.
    {"boost_cap_open", 1, true,
     [](const T& h, const T& f) {
         return near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.03) &&
                f.vertical.retrace_10_90_s > 1.4 * h.vertical.retrace_10_90_s &&
                f.v_out_max_v > h.v_out_max_v;
     }},
    {"boost_path_dead", 1, true,
     [](const T& h, const T& f) {
         return f.vertical.retrace_10_90_s > 1.8 * h.vertical.retrace_10_90_s &&
                near(f.v_out_max_v, f.supply_v, 0.1);
     },
     0.7}, // the capacitor loses its first charge retrace by retrace
    {"boost_cap_wrong_value", 1, true,
     [](const T& h, const T& f) {
         return f.v_out_max_v > 1.05 * h.v_out_max_v &&
                near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.02);
     }},

    // Vertical yoke: feedback hides it in the ramp; retrace and output swing show it.
    {"v_yoke_shorted", 0.5, true,
     [](const T& h, const T& f) {
         return f.vertical.retrace_10_90_s < 0.85 * h.vertical.retrace_10_90_s &&
                f.v_out_min_v > h.v_out_min_v + 0.5 &&
                near(f.vertical.peak_to_peak, h.vertical.peak_to_peak, 0.05);
     }},
    {"v_yoke_open", 1, true, [](const T&, const T& f) { return f.vertical.peak_to_peak < 1e-3; }},

    // Line AFC.
    {"afc_open", 1, true,
     [](const T&, const T& f) {
         return !f.line.locked && near(f.line.rate_hz, healthy(false).line.rate_hz, 1e-4);
     }},
    {"afc_pulse_missing", 1, true,
     [](const T&, const T& f) {
         return !f.line.locked && near(f.line.rate_hz, healthy(false).line.rate_hz, 1e-4);
     }},
    {"afc_filter_open", 1, true, // no lag: the field's pulses come through to the oscillator
     [](const T& h, const T& f) { return f.line.jitter_s > 1.4 * h.line.jitter_s; }},

    // Line oscillator.
    {"h_timing_off", 0.5, false, // 1/C of sqrt(1.015 * 1.15)
     [](const T& h, const T& f) { return near(f.line.rate_hz, h.line.rate_hz / 1.0804, 2e-3); }},
    {"h_timing_cap_leaky", 0.5, false,
     [](const T& h, const T& f) { return f.line.rate_hz < 0.985 * h.line.rate_hz; }},
    {"h_oscillator_dead", 1, true,
     [](const T& h, const T& f) {
         return !f.line.running && f.field.locked && f.h_peak_v < 1 && f.supply_a < h.supply_a;
     }},

    // Driver and line output. Retrace pi sqrt(L C) and a little; the peak goes against it.
    {"h_drive_short", 1, true, // comes on long after the current has turned
     [](const T& h, const T& f) {
         return f.horizontal.peak_to_peak < 0.8 * h.horizontal.peak_to_peak;
     }},
    {"h_drive_dead", 1, true,
     [](const T& h, const T& f) { return !f.line.running && f.supply_a < h.supply_a; }},
    {"h_retrace_cap_low", 0.5, true, // sqrt of 0.505: 0.71
     [](const T& h, const T& f) {
         return near(f.horizontal.retrace_10_90_s, 0.71 * h.horizontal.retrace_10_90_s, 0.03) &&
                f.h_peak_v > 1.3 * h.h_peak_v;
     }},
    {"h_retrace_cap_high", 0.5, true, // sqrt of 1.59: 1.26
     [](const T& h, const T& f) {
         return near(f.horizontal.retrace_10_90_s, 1.26 * h.horizontal.retrace_10_90_s, 0.03) &&
                f.h_peak_v < 0.85 * h.h_peak_v;
     }},
    {"h_s_cap_low", 0.5, true, // more bend, S
     [](const T& h, const T& f) {
         return f.horizontal.spacing_pct > 1.5 * h.horizontal.spacing_pct;
     }},
    {"h_damper_open", 1, true,
     [](const T& h, const T& f) {
         return f.horizontal.spacing_pct > 1.5 * h.horizontal.spacing_pct;
     }},
    {"h_joint_bad", 1, true, // L / R of the trace
     [](const T& h, const T& f) {
         return f.horizontal.spacing_pct > 1.5 * h.horizontal.spacing_pct;
     }},
    {"h_transformer_shorted", 0.5, true,
     [](const T& h, const T& f) { return f.supply_a > 1.3 * h.supply_a; }},
    {"h_yoke_shorted", 0.5, true, // less inductance: more current, shorter retrace, higher peak
     [](const T& h, const T& f) {
         return f.horizontal.peak_to_peak > 1.2 * h.horizontal.peak_to_peak &&
                f.horizontal.retrace_10_90_s < 0.95 * h.horizontal.retrace_10_90_s &&
                f.h_peak_v > 1.05 * h.h_peak_v;
     }},
    {"h_yoke_open", 1, true, // the choke alone: a long and low pulse, no current
     [](const T& h, const T& f) {
         return f.h_peak_v < 0.7 * h.h_peak_v && !(f.horizontal.peak_to_peak > 0.1);
     }},
};

/// Shown by other tests: of waveforms, or of a board that warms up.
const std::set<std::string_view> kShownElsewhere{"rectifier_open", "v_crossover", "heatsink_loose"};

struct Ripple {
    double raw_60 = 0; ///< amplitudes across the reservoir and on the rail
    double raw_120 = 0;
    double rail_60 = 0;
    double rail_120 = 0;
};

/// Over 0.1 s: whole periods of 60 and 120 Hz. Without the vertical output, whose load at the field
/// rate would show beside the mains.
Ripple ripple(BoardParameters p) {
    p.vertical_ic_dead = 1;
    BoardModel board(p);
    std::complex<double> sums[4];
    constexpr int kSamples = 2000;
    for (int k = 0; k < kSamples; ++k) {
        const double t = 0.1 * (1 + k / static_cast<double>(kSamples));
        board.skip_to(t);
        const std::complex<double> turn = std::polar(2.0 / kSamples, 120 * std::numbers::pi * t);
        const double raw = board.supply().raw_v();
        const double rail = board.quantity(ChannelId::supply_v, t);
        sums[0] += raw * turn;
        sums[1] += raw * turn * turn * (kSamples / 2.0);
        sums[2] += rail * turn;
        sums[3] += rail * turn * turn * (kSamples / 2.0);
    }
    return {std::abs(sums[0]), std::abs(sums[1]), std::abs(sums[2]), std::abs(sums[3])};
}

} // namespace

TEST_CASE("Every fault moves a true figure as its circuit says") {
    std::set<std::string_view> shown = kShownElsewhere;
    for (std::size_t k = 0; k < std::size(kShows); ++k) {
        const Show& show = kShows[k];
        shown.insert(show.id);
        if (k % kEvery != 0) {
            continue;
        }
        const BoardTruth faulty =
            truth_of(board_with(show.id, show.severity), show.sync, show.settle_s);
        CAPTURE(show.id, show.severity, faulty.supply_v, faulty.supply_a, faulty.line.rate_hz,
                faulty.field.rate_hz, faulty.vertical.peak_to_peak, faulty.line.jitter_s,
                healthy(show.sync).line.jitter_s, faulty.supply_ripple_v);
        CHECK(show.seen(healthy(show.sync), faulty));
        CHECK_FALSE(show.seen(healthy(show.sync), healthy(show.sync))); // the check can fail
    }
    for (const Fault& fault : fault_table()) {
        INFO(fault.id);
        CHECK(shown.count(fault.id) == 1);
    }
}

TEST_CASE("A dried reservoir ripples at twice the mains, an open rectifier branch at the mains") {
    BoardParameters p = board_with("reservoir_dried", 0.7);
    const Ripple dried = ripple(p);
    CHECK(dried.rail_120 > 0.1); // out of regulation the decoupling holds most of it
    CHECK(dried.rail_120 > 20 * dried.rail_60);
    // With a good reservoir the regulator hides it; the raw side shows it: a saw of I T / C = 0.44
    // A / (60 Hz 4700 uF) = 1.56 V, whose first harmonic is 1 / pi of that.
    const Ripple open = ripple(board_with("rectifier_open", 1));
    CHECK(open.raw_60 > 0.4);
    CHECK(open.raw_60 > 1.8 * open.raw_120);
    CHECK(open.rail_60 < 0.01);
    CHECK(ripple(quiet_board()).raw_60 < 0.02);
    // Two at once: half-wave on what is left of the reservoir.
    REQUIRE(apply_fault(p, "rectifier_open", 1).ok());
    CHECK(ripple(p).rail_60 > 1);
}

TEST_CASE("Crossover: the current's slope falls where it passes zero") {
    const auto slope_at_zero = [](const BoardParameters& p) {
        BoardModel board(p);
        double least = INFINITY;
        double sum = 0;
        int count = 0;
        double before = 0;
        for (double t = 0.1; t < 0.14; t += 20e-6) {
            board.skip_to(t);
            const double now = -board.vertical_at(t).yoke_a;
            const double slope = now - before;
            if (t > 0.1 && slope > 0) { // in the trace
                sum += slope;
                ++count;
                if (std::fabs(now) < 0.03) {
                    least = std::min(least, slope);
                }
            }
            before = now;
        }
        return least * count / sum;
    };
    const double good = slope_at_zero(quiet_board());
    CHECK(good > 0.85); // 0.02 V over 10 mA is in it
    CHECK(slope_at_zero(board_with("v_crossover", 1)) < 0.6 * good);
}

TEST_CASE("Open damper and bad joint: the collector's minimum in the trace tells them apart") {
    const auto lowest = [](const BoardParameters& p) {
        BoardModel board(p);
        double least = 0;
        for (double t = 0.05; t < 0.0505; t += 0.5e-6) {
            board.skip_to(t);
            least = std::min(least, board.line_at(t).collector_v);
        }
        return least;
    };
    const double good = lowest(quiet_board());
    CHECK(good > -1.5); // the damper's drop
    CHECK(lowest(board_with("h_joint_bad", 1)) > -1.5);
    CHECK(lowest(board_with("h_damper_open", 1)) < -6);
}
