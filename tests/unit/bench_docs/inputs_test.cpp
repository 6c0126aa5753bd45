// SPDX-License-Identifier: MIT
// Input channels and comparators as drawn, by ngspice, against the channel table and the front end
// that the virtual bench simulates.
#include "shared/channels.hpp"
#include "tests/unit/bench_docs/sheets.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

using namespace yokedock;
using namespace yokedock::test;

namespace {

struct Input {
    const char* sheet;
    const char* pin;    ///< net of the converter's pin
    const char* source; ///< makes the quantity {0}: a constant, or "pwl(...)"
    double low, high;   ///< of the table's range
};

/// By channel. Currents are forced through the shunts with 20 V of common mode on the vertical one.
const Input kInputs[] = {
    {"load", "v_yoke_a", "iq 0 v_cold_l {0}\nvcm v_ret 0 20\nrh h_cold_l 0 1\n", -1.95, 1.95},
    {"load", "h_yoke_a", "iq 0 h_cold_l {0}\nvcm h_ret 0 0\nrv v_cold_l 0 1\n", -4.9, 4.9},
    {"inputs", "supply_v", "vq rail 0 {0}\n", 0, 61.25},
    {"power", "supply_a", "iq rail 0 {0}\nvs rail_s 0 24\n", 0.02, 4.8},
    {"inputs", "v_out_v", "vq v_hot 0 {0}\n", -22.5, 97.5},
    {"inputs", "h_peak_v", "vq h_hot 0 {0}\n", 50, 490},
    {"inputs", "heatsink_c", "", -20, 120},
    {"inputs", "ref_v", "", 2.5, 2.5},
};

const char* const kRails = "vv5 v5 0 5\nvr ref25 0 2.5\n";
const char* const kPathsAtRest =
    "rb1 v_hot 0 1k\nrb2 h_hot 0 1k\nrb3 v_step 0 1k\nrb4 h_step 0 1k\n";

std::string around(const Input& input, const std::string& quantity) {
    std::string text = std::string(kRails) + fmt::format(fmt::runtime(input.source), quantity);
    if (std::string(input.sheet) == "load") {
        text += kPathsAtRest;
        text += "vk3 k3on 0 12\nvk4 k4on 0 12\nrc1 v_cold_b 0 1k\nrc2 h_cold_b 0 1k\n";
    }
    return text;
}

/// The demo board's bench: what the virtual bench's front end does.
double simulated(const char* key) {
    return nlohmann::json::parse(
        read_file("demo/boards/quillwood13.json"))["parameters"]["bench"][key];
}

} // namespace

TEST_CASE("drawn inputs: every linear channel has the scale of the channel table") {
    for (std::size_t k = 0; k < kChannelCount; ++k) {
        const Channel& c = kChannels[k];
        if (c.law != ChannelLaw::kLinear || k == 7 || k == 5) {
            continue; // the reference has nothing to scale; the peak: its own case below
        }
        INFO(c.name);
        const Input& input = kInputs[k];
        CHECK(std::string(input.pin) == c.name);
        double volts[2];
        for (int end = 0; end < 2; ++end) {
            const double q = end == 0 ? input.low : input.high;
            volts[end] = settled(circuit({input.sheet}, around(input, fmt::format("{}", q))),
                                 {fmt::format("v({})", input.pin)}, 1e-3, 1e-6)[0];
            // Within the table's one standard uncertainty of zero and gain: the drawn values are
            // nominal, tolerances come on top.
            const double wanted = 1e-3 * c.zero_mv + 1e-6 * c.microvolts_per_unit * q;
            const double allowed =
                1e-6 * c.zero_tolerance_uv +
                std::abs(1e-12 * c.microvolts_per_unit * q * c.gain_tolerance_ppm);
            INFO("at " << q << ": " << volts[end] << " V, wanted " << wanted);
            CHECK(std::abs(volts[end] - wanted) < allowed);
        }
        const double gain = (volts[1] - volts[0]) / (input.high - input.low);
        CHECK(gain == Approx(1e-6 * c.microvolts_per_unit).epsilon(1e-6 * c.gain_tolerance_ppm));
    }
}

TEST_CASE("drawn inputs: common mode of the load's cold lead does not show") {
    for (const double common_v : {-0.4, 0.0, 57.0}) {
        const auto v = settled(
            circuit(
                {"load"},
                kRails + std::string(kPathsAtRest) +
                    fmt::format(
                        "iq 0 v_cold_l 1\nvcm v_ret 0 {0}\nvcmh h_ret 0 {0}\niqh 0 h_cold_l 1\n",
                        common_v) +
                    "vk3 k3on 0 12\nvk4 k4on 0 12\nrc1 v_cold_b 0 1k\nrc2 h_cold_b 0 1k\n"),
            {"v(v_yoke_a)", "v(h_yoke_a)"}, 1e-4, 1e-6);
        CHECK(v[0] == Approx(2.5 + 1.25).margin(0.004));
        CHECK(v[1] == Approx(2.5 + 0.5).margin(0.004));
    }
}

TEST_CASE("drawn inputs: the thermistor's law") {
    for (const double celsius : {-20.0, 25.0, 60.0, 100.0, 120.0}) {
        const double ohm =
            kNtcOhmAt25 * std::exp(kNtcBetaKelvin * (1 / (celsius + 273.15) - 1 / 298.15));
        const double wanted = 5 * ohm / (ohm + kNtcSeriesOhm);
        const double got =
            settled(circuit({"inputs"}, kRails + fmt::format("rntc ntc 0 {}\n", ohm)),
                    {"v(heatsink_c)"}, 20e-3, 1e-5)[0];
        CHECK(got == Approx(wanted).margin(0.003)); // the table's zero uncertainty
    }
}

TEST_CASE("drawn inputs: lag of a ramp as in the channel table") {
    for (const std::size_t k : {0U, 1U, 2U, 3U, 4U, 7U}) { // peak and temperature: see the pages
        const Channel& c = kChannels[k];
        INFO(c.name);
        const Input& input = kInputs[k];
        const double low = k == 7 ? 2.4 : input.low;
        const double high = k == 7 ? 2.6 : input.high;
        // Settles at `low`, then a ramp of 40 us; the lag is read at its end, 20 time constants in.
        const std::string ramp = fmt::format("pwl(0 {0} 1m {0} 1.04m {1} 2m {1})", low, high);
        std::string text = around(input, ramp);
        if (k == 7) {
            text = "vv5 v5 0 5\nvr ref25 0 " + ramp + "\n";
        }
        const auto run = sim::run_spice(circuit({input.sheet}, text),
                                        {fmt::format("v({})", input.pin)}, 1e-7, 1.04e-3, 0.9e-3);
        INFO(run.log);
        REQUIRE(run.time_s.size() > 100);
        const double gain = 1e-6 * c.microvolts_per_unit;
        const double slope = gain * (high - low) / 40e-6;
        // Against the settled value at the ramp's begin, so that zero and gain do not count: their
        // error over the ramp is 0.8 % of it at most, 0.3 us; so the gain found is used.
        const double begin_v = run.at(0, 0.999e-3);
        const double late_v = run.at(0, 1.0395e-3);
        const double early_v = run.at(0, 1.0295e-3);
        const double measured_slope = (late_v - early_v) / 10e-6;
        const double lag = 39.5e-6 - (late_v - begin_v) / measured_slope;
        CHECK(measured_slope == Approx(slope).epsilon(0.01));
        // 5 %: the tolerance of the capacitor.
        CHECK(lag == Approx(1e-9 * c.input_lag_ns).epsilon(0.05));
        if (k == 0) {
            CHECK(lag == Approx(simulated("v_yoke_lag_s")).epsilon(0.05));
        } else if (k == 1) {
            CHECK(lag == Approx(simulated("h_yoke_lag_s")).epsilon(0.05));
        }
    }
}

TEST_CASE("drawn inputs: retrace peak as the channel table scales it, and its decay") {
    const Channel& c = kChannels[5];
    for (const double volts : {150.0, 490.0}) {
        // 12 us half sine every 63.5 us on a trace near 0.
        const std::string pulses = fmt::format(
            "bq h_hot 0 v=max(0,{}*sin(3.14159265*min(time-63.5u*floor(time/63.5u),12u)/12u))*"
            "(time<5m)\n",
            volts);
        const auto run = sim::run_spice(circuit({"inputs"}, kRails + pulses), {"v(h_peak_v)"}, 1e-6,
                                        20e-3, 4e-3);
        INFO(run.log);
        REQUIRE(run.time_s.size() > 100);
        const double wanted = 1e-6 * c.microvolts_per_unit * volts;
        const double got = run.at(0, 4.9e-3);
        // The diode takes 0.7 to 1.2 V of the peak: 12 mV here, taken off by calibration.
        CHECK(got < wanted * (1 + 1e-6 * c.gain_tolerance_ppm));
        CHECK(got > wanted * (1 - 1e-6 * c.gain_tolerance_ppm) - 0.012);
        const double decay = -12e-3 / std::log(run.at(0, 19e-3) / run.at(0, 7e-3));
        CHECK(decay == Approx(simulated("peak_decay_s")).epsilon(0.05)); // capacitor of 5 %
    }
}

TEST_CASE("drawn retrace comparators: thresholds, hysteresis and delay of the virtual bench's") {
    // The line comparator on a slow triangle, then on a retrace pulse's flank.
    const auto slow = sim::run_spice(
        circuit({"retrace"},
                std::string(kRails) + "vh h_hot 0 pwl(0 0 1m 100 2m 0)\nvo v_out_v 0 0\n"),
        {"v(icp4)", "v(h_hot)"}, 1e-6, 2e-3, 0);
    INFO(slow.log);
    REQUIRE(slow.time_s.size() > 100);
    const double up = slow.at(1, crossing(slow, 0, 2.5, true));
    CHECK(up == Approx(simulated("line_threshold_v")).epsilon(0.02)); // resistors of 1 %
    const auto flank = sim::run_spice(
        circuit({"retrace"}, std::string(kRails) +
                                 "vh h_hot 0 pwl(0 0 1u 0 4u 300 8u 300 11u 0)\nvo v_out_v 0 0\n"),
        {"v(icp4)", "v(h_hot)"}, 1e-8, 20e-6, 0);
    REQUIRE(flank.time_s.size() > 100);
    const double delay = crossing(flank, 0, 2.5, true) - crossing(flank, 1, up, true);
    // 0.1 us in the virtual bench; a constant, and 0.1 us more or less is what calibration takes
    // off.
    CHECK(delay == Approx(simulated("line_delay_s")).margin(0.1e-6));
    CHECK(peak(flank, 0) < 5.5); // the converter's pin never sees more than its supply

    const auto field = sim::run_spice(
        circuit({"inputs", "retrace"},
                std::string(kRails) +
                    "vv v_hot 0 pwl(0 0 10m 40 20m 0)\nvh h_hot 0 0\nrn ntc 0 10k\nvs rail 0 0\n"),
        {"v(icp5)", "v(v_hot)"}, 1e-5, 20e-3, 0);
    INFO(field.log);
    REQUIRE(field.time_s.size() > 100);
    const double rises = field.at(1, crossing(field, 0, 2.5, true));
    const double falls = field.at(1, crossing(field, 0, 2.5, false, 10e-3));
    // The trimmer's drawn position is rounded to 0.001 of 5 V: 0.125 V at the node.
    CHECK((rises + falls) / 2 == Approx(simulated("field_threshold_v")).margin(0.2));
    CHECK(rises - falls == Approx(simulated("field_hysteresis_v")).margin(0.1));
    // Retrace of the vertical output: 50 V in 20 us, through filter and comparator.
    const auto steep = sim::run_spice(
        circuit({"inputs", "retrace"}, std::string(kRails) +
                                           "vv v_hot 0 pwl(0 0 50u 0 70u 50 200u 50)\nvh h_hot 0 "
                                           "0\nrn ntc 0 10k\nvs rail 0 0\n"),
        {"v(icp5)", "v(v_hot)"}, 5e-8, 100e-6, 40e-6);
    INFO(steep.log);
    REQUIRE(steep.time_s.size() > 100);
    const double field_delay = crossing(steep, 0, 2.5, true) - crossing(steep, 1, rises, true);
    // 3 us in the virtual bench; a constant that calibration takes off. 1 us is a 60th of a line.
    CHECK(field_delay == Approx(simulated("field_delay_s")).margin(1e-6));
}
