// SPDX-License-Identifier: MIT
// Heat and voltage of every drawn resistor at full scale, by ngspice, against the parts list.
#include "tests/unit/bench_docs/sheets.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>

using namespace yokedock;
using namespace yokedock::test;

namespace {

/// 500 V half sine of 12 us on every 63.5 us: the end of the h_peak_v range.
const char* const kRetrace =
    "bq h_hot 0 v=max(0,500*sin(3.14159265*min(time-63.5u*floor(time/63.5u),12u)/12u))\n";
const char* const kRails = "vv5 v5 0 5\nvr ref25 0 2.5\n";

struct Case {
    const char* sheet;
    std::vector<std::string> with; ///< other sheets it needs
    std::string around;
    double end_s, step_s;
};

std::vector<Case> full_scale() {
    const std::string rails = kRails;
    return {
        {"sync",
         {},
         "vv5 v5 0 5\nrl comp75 0 75\nvc csync 0 5\nvw window 0 5\nvp pattern 0 5\nvh hsync 0 "
         "5\nvv vsync 0 5\nrt1 csync_ttl 0 150\nrt2 hsync_ttl 0 150\nrt3 vsync_ttl 0 150\n",
         20e-6,
         1e-7},
        {"load",
         {},
         rails + "vk3 k3on 0 12\nvk4 k4on 0 12\nrb1 v_hot_b 0 1k\nrb2 h_hot_b 0 1k\nrb3 v_step 0 "
                 "1k\nrb4 h_step 0 1k\niv 0 v_cold_l 2\nvcv v_cold_b 0 20\nih 0 h_cold_l "
                 "5\nvch h_cold_b 0 0\nrh1 v_hot 0 1k\nrh2 h_hot 0 1k\n",
         200e-6,
         1e-6},
        {"inputs",
         {},
         rails + kRetrace + "vq rail 0 62.5\nvo v_hot 0 100\nrn ntc 0 100\n",
         2e-3,
         0.5e-6},
        {"retrace", {}, rails + kRetrace + "vo v_out_v 0 5\n", 1e-3, 0.2e-6},
        {"power",
         {},
         "vv5 v5 0 5\nvs sup_p 0 62.5\nvk1 k1on 0 12\nvk2 k2on 0 12\nil rail 0 pwl(0 0 0.3 0 "
         "0.35 5)\ncb rail 0 1000u\n",
         0.6,
         1e-4},
        {"guard",
         {},
         "vv5 v5 0 5\nvs supply_a 0 1\nv0 k1_drive 0 5\nvjp th_2a oc_th 0\n",
         1e-3,
         1e-6},
        {"relays",
         {},
         "vv12 v12 0 13\nv1 k1_on 0 5\nv2 k2_drive 0 5\nv3 k3_drive 0 5\nv4 k4_drive 0 5\nv5x "
         "k5_drive 0 5\n",
         20e-3,
         1e-5},
        // The step left on for good, into a load of next to nothing.
        {"step",
         {},
         "vv12 v12 0 12.6\nvk5 k5on 0 12\nvd step_v_drive 0 5\nvh step_h_drive 0 5\nrv v_step 0 "
         "0.2\nrh h_step 0 0.2\n",
         1e-3,
         1e-6},
        {"supply", {}, "vv5 v5 0 5.25\nvs sup12 0 13\n", 5e-3, 1e-5},
    };
}

} // namespace

TEST_CASE("parts list: every drawn resistor stays below its ratings at full scale") {
    const auto list = parts();
    std::size_t seen = 0;
    for (const Case& c : full_scale()) {
        INFO("sheet " << c.sheet);
        const auto all = resistors(c.sheet);
        REQUIRE_FALSE(all.empty());
        std::vector<std::string> waves;
        for (const Resistor& r : all) {
            waves.push_back(r.from == "0" ? fmt::format("v({})", r.to)
                            : r.to == "0" ? fmt::format("v({})", r.from)
                                          : fmt::format("v({},{})", r.from, r.to));
        }
        const auto run =
            sim::run_spice(circuit({c.sheet}, c.around), waves, c.step_s, c.end_s, c.end_s / 2);
        INFO(run.log);
        REQUIRE(run.time_s.size() > 10);
        for (std::size_t k = 0; k < all.size(); ++k) {
            double square = 0;
            double most = 0;
            for (std::size_t n = 1; n < run.time_s.size(); ++n) {
                const double v = run.value[k][n];
                square += v * v * (run.time_s[n] - run.time_s[n - 1]);
                most = std::max(most, std::abs(v));
            }
            const double watts = square / (run.time_s.back() - run.time_s.front()) / all[k].ohm;
            INFO(all[k].name << ": " << watts << " W, " << most << " V");
            REQUIRE(list.count(all[k].name) == 1);
            const Part& part = list.at(all[k].name);
            // Six tenths of the rating (common practice, no source): a warm box and soldering
            // lands smaller than the data sheet's.
            CHECK(watts < 0.6 * part.power_w);
            CHECK(most < part.volts);
            ++seen;
        }
    }
    std::size_t listed = 0;
    for (const auto& part : list) {
        listed += part.first[0] == 'R' ? 1U : 0U;
    }
    CHECK(seen == listed); // no sheet was left out
}
