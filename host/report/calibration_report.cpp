// SPDX-License-Identifier: MIT
#include "host/report/calibration_report.hpp"
#include "host/capture/measurement.hpp"
#include "host/record/calibration_file.hpp"
#include "host/record/json_text.hpp"
#include "host/report/json.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace yokedock::report {
namespace {

using Json = nlohmann::ordered_json;
using capture::Calibration;

Json stated(const std::optional<capture::Stated>& s) {
    return s ? Json{{"value", s->value}, {"u", s->u}} : Json();
}

std::string channel_row(std::size_t i, const Calibration& c) {
    const auto& result = c.channels[i];
    const capture::ChannelScale nominal = capture::nominal_scale(static_cast<ChannelId>(i));
    if (!result) {
        return fmt::format(
            "  {:<11} not calibrated: gain +- {:.2f} %, zero +- {:.1f} mV as built\n",
            kChannels[i].name, 100 * nominal.gain_u_relative, 1e3 * nominal.zero_u_v);
    }
    return fmt::format(
        "  {:<11} gain {:.5f} +- {:.5f} of nominal, zero {:+.2f} +- {:.2f} mV at the input\n",
        kChannels[i].name, result->gain.value, result->gain.u, 1e3 * result->zero_v.value,
        1e3 * result->zero_v.u);
}

} // namespace

std::string calibration_table(std::uint32_t serial, const Calibration& c) {
    std::string out = c.any() ? fmt::format("Bench {}, calibrated {}\n", serial,
                                            record::date_of_seconds(c.date_s))
                              : fmt::format("Bench {}, NOT CALIBRATED\n", serial);
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        out += channel_row(i, c);
    }
    out += c.clock_relative ? fmt::format("  clock       {:+.2f} +- {:.2f} ppm\n",
                                          1e6 * c.clock_relative->value, 1e6 * c.clock_relative->u)
                            : fmt::format("  clock       not calibrated: +- {} ppm as built\n",
                                          kClockTolerancePpm);
    out += c.adc_reference_v ? fmt::format("  reference   {:.5f} +- {:.5f} V\n",
                                           c.adc_reference_v->value, c.adc_reference_v->u)
                             : "  reference   not calibrated: taken into the gains\n";
    out += c.trigger_delay_s
               ? fmt::format("  trigger     {:+.1f} +- {:.1f} ns\n", 1e9 * c.trigger_delay_s->value,
                             1e9 * c.trigger_delay_s->u)
               : "  trigger     not calibrated\n";
    return out + "+- is the standard uncertainty (k = 1).\n";
}

std::string calibration_json(std::uint32_t serial, const Calibration& c) {
    Json channels = Json::object();
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        const auto& r = c.channels[i];
        channels[kChannels[i].name] = r ? Json{{"gain", r->gain.value},
                                               {"gain_u", r->gain.u},
                                               {"zero_v", r->zero_v.value},
                                               {"zero_u_v", r->zero_v.u}}
                                        : Json();
    }
    return record::json_text(
        {{"schema", kOutputSchema},
         {"command", "calibrate"},
         {"bench_serial", serial},
         {"calibrated", c.any()},
         {"date_utc", c.any() ? Json(record::date_of_seconds(c.date_s)) : Json()},
         {"channels", channels},
         {"clock_relative", stated(c.clock_relative)},
         {"adc_reference_v", stated(c.adc_reference_v)},
         {"trigger_delay_s", stated(c.trigger_delay_s)}});
}

std::string calibration_words(const capture::BenchInfo& bench) {
    std::string done;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        if (bench.scale[i].calibrated) {
            done += (done.empty() ? "" : ", ") + std::string(kChannels[i].name);
        }
    }
    if (bench.calibrated_s == 0 && done.empty()) {
        return "BENCH NOT CALIBRATED: scales, zeros and clock are as built; their tolerance is in "
               "the uncertainties.";
    }
    return fmt::format("Bench calibrated {}: {}; everything else is as built.",
                       record::date_of_seconds(bench.calibrated_s),
                       done.empty() ? "clock or reference only" : done);
}

} // namespace yokedock::report
