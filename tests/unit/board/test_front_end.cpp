// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/front_end.hpp"
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

TEST_CASE("Codes follow the channel table, the nearest to 1024 times volts over 5, and stop at "
          "both ends") {
    FrontEnd f(quiet_board());
    CHECK(f.code(ChannelId::v_yoke_a, 0) == 512);
    CHECK(f.code(ChannelId::v_yoke_a, 0.4) == 614); // 3.000 V -> 614.4
    CHECK(f.code(ChannelId::supply_v, 24) == 393);  // 1.920 V -> 393.2
    CHECK(f.code(ChannelId::v_out_v, -10) == 123);  // 0.600 V -> 122.9
    CHECK(f.code(ChannelId::ref_v, 2.5) == 512);
    CHECK(f.code(ChannelId::heatsink_c, 25) == 512); // 10 k against 10 k
    CHECK(f.code(ChannelId::h_peak_v, 900) == 1023);
    CHECK(f.code(ChannelId::v_yoke_a, -3) == 0);
}

TEST_CASE("The thermistor reads higher resistance in the cold, by the beta law") {
    FrontEnd f(quiet_board());
    const double ohm_60 = 10e3 * std::exp(3950.0 * (1 / 333.15 - 1 / 298.15));
    CHECK(f.input_v(ChannelId::heatsink_c, 60) == Approx(5 * ohm_60 / (ohm_60 + 10e3)));
    CHECK(f.input_v(ChannelId::heatsink_c, 10) > 2.5);
}

TEST_CASE(
    "A lag delays a ramp by its time constant, leaves a level alone and rounds a step by e^-t") {
    BoardParameters p = quiet_board();
    p.bench_v_yoke_lag_s = 2e-6;
    const FrontEnd f(p);
    const auto seen = [&](auto q, double t) { return f.lagged(ChannelId::v_yoke_a, t, q); };
    CHECK(seen([](double) { return 3.0; }, 1e-3) == Approx(3.0));
    // Truncation after 8 lags: e^-8 of the slope times lag.
    CHECK(seen([](double t) { return 1e5 * t; }, 1e-3) ==
          Approx(1e5 * (1e-3 - 2e-6)).margin(1e5 * 2e-6 * 4e-4));
    // A step is seen through straight lines one lag long: within 0.25 of the step near it, exact
    // well after.
    const auto step = [](double t) { return t >= 1e-3 ? 1.0 : 0.0; };
    CHECK(seen(step, 1e-3 + 8e-6) == Approx(1 - std::exp(-4.0)).margin(0.02));
    CHECK(seen(step, 1e-3 - 1e-9) == 0);
}

TEST_CASE("A rise three lags long is seen as the closed form of both poles says, in finer parts") {
    BoardParameters p = quiet_board();
    p.bench_v_yoke_lag_s = 2e-6;
    const FrontEnd f(p);
    constexpr double kTau = 6e-6;
    constexpr double kLag = 2e-6;
    const auto rise = [](double t) { return t > 0 ? 1 - std::exp(-t / kTau) : 0; };
    double worst = 0;
    double worst_coarse = 0;
    for (double t = 1e-7; t < 60e-6; t += 1e-7) {
        const double want =
            1 - (kTau * std::exp(-t / kTau) - kLag * std::exp(-t / kLag)) / (kTau - kLag);
        worst = std::max(worst, std::fabs(f.lagged(ChannelId::v_yoke_a, t, rise, 16) - want));
        worst_coarse =
            std::max(worst_coarse, std::fabs(f.lagged(ChannelId::v_yoke_a, t, rise) - want));
    }
    // A straight line of length h across the corner is off by slope h / 4 at the most, and weighs h
    // lags: (lag / tau) h^2 / 4. Then what is older than 8 lags: e^-8 of the whole.
    CHECK(worst < kLag / kTau / 16 / 16 / 4 + std::exp(-8.0));
    CHECK(worst_coarse > 10 * worst);
}

TEST_CASE("Each bench has its own repeatable errors, spread as the channel table says") {
    BoardParameters p = quiet_board();
    p.bench_errors = 1;
    double gain = 0;
    double zero = 0;
    double clock = 0;
    constexpr int kBenches = 2000;
    const Channel& c = kChannels[static_cast<std::size_t>(ChannelId::h_yoke_a)];
    for (int seed = 0; seed < kBenches; ++seed) {
        p.bench_seed = seed;
        const FrontEnd f(p);
        const InputError& e = f.input_error(ChannelId::h_yoke_a);
        gain += std::pow((e.gain - 1) / (1e-6 * c.gain_tolerance_ppm), 2) / kBenches;
        zero += std::pow(e.zero_v / (1e-6 * c.zero_tolerance_uv), 2) / kBenches;
        clock += std::pow(f.clock_error() / 30e-6, 2) / kBenches;
        CHECK(FrontEnd(p).clock_error() == f.clock_error());
    }
    // Sample variance of 2000 normal draws: sd sqrt(2/2000) = 3 %; four of them.
    CHECK(gain == Approx(1).margin(0.13));
    CHECK(zero == Approx(1).margin(0.13));
    CHECK(clock == Approx(1).margin(0.13));
    p.bench_errors = 0;
    p.bench_clock_ppm_offset = 120;
    CHECK(FrontEnd(p).clock_error() == Approx(120e-6));
    CHECK(FrontEnd(p).input_error(ChannelId::supply_v).gain == 1);
}

TEST_CASE("Noise has the asked rms on top of quantisation") {
    BoardParameters p = quiet_board();
    p.bench_noise_lsb = 0.5;
    FrontEnd f(p);
    double sum = 0;
    double squares = 0;
    constexpr int kSamples = 20000;
    for (int k = 0; k < kSamples; ++k) {
        const double x = f.code(ChannelId::supply_a, 1.0017); // 205.15 codes
        sum += x;
        squares += x * x;
    }
    const double mean = sum / kSamples;
    CHECK(mean == Approx(205.15).margin(0.02)); // nearest code: no bias; sd of the mean is 0.004
    CHECK(squares / kSamples - mean * mean == Approx(0.25 + 1.0 / 12).margin(0.02));
}

TEST_CASE("The peak detector keeps the highest peak and forgets it with its time constant") {
    FrontEnd f(quiet_board());
    f.see_peak(0, 200);
    f.see_peak(64e-6, 150);
    CHECK(f.peak_v(64e-6) == Approx(200 * std::exp(-64e-6 / 0.05)));
    f.see_peak(128e-6, 250);
    CHECK(f.peak_v(128e-6 + 0.05) == Approx(250 * std::exp(-1.0)));
}
