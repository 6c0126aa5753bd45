// SPDX-License-Identifier: MIT
#include "host/record/raw_json.hpp"
#include "host/record/wire_json.hpp"

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

Json scale_to_json(const capture::ChannelScale& scale, const Channel& channel) {
    return {{"unit", channel.unit},
            {"zero_v", scale.zero_v},
            {"volts_per_unit", scale.volts_per_unit},
            {"gain_u_relative", scale.gain_u_relative},
            {"zero_u_v", scale.zero_u_v},
            {"delay_s", scale.delay_s},
            {"calibrated", scale.calibrated}};
}

capture::ChannelScale scale_from_json(const Node& node, const Channel& channel) {
    capture::ChannelScale scale;
    scale.zero_v = node.at("zero_v").number(-1000, 1000);
    scale.volts_per_unit = node.at("volts_per_unit").number(-1e6, 1e6);
    // A gain of zero divides by zero later; the NTC has a law of its own and its row says 0.
    if (!node.failed() && scale.volts_per_unit == 0 && channel.law == ChannelLaw::kLinear) {
        node.at("volts_per_unit").complain("0", "a gain other than 0");
    }
    scale.gain_u_relative = node.at("gain_u_relative").number(0, 10);
    scale.zero_u_v = node.at("zero_u_v").number(0, 1000);
    scale.delay_s = node.at("delay_s").number(-1, 1);
    scale.calibrated = node.at("calibrated").boolean();
    return scale;
}

} // namespace

Json bench_to_json(const capture::BenchInfo& bench) {
    Json scales = Json::object();
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        scales[kChannels[i].name] = scale_to_json(bench.scale[i], kChannels[i]);
    }
    return {{"transport", bench.transport},
            {"address", bench.address},
            {"simulated", bench.simulated},
            {"clock_relative", bench.clock_relative},
            {"clock_u_relative", bench.clock_u_relative},
            {"calibrated_s", bench.calibrated_s},
            {"identity", message_to_json(bench.identity)},
            {"channel_scale", scales}};
}

capture::BenchInfo bench_from_json(const Node& node) {
    capture::BenchInfo bench;
    bench.transport = node.at("transport").text();
    bench.address = node.at("address").text();
    bench.simulated = node.at("simulated").boolean();
    bench.clock_u_relative = node.at("clock_u_relative").number(0, 1);
    if (const auto relative = node.maybe("clock_relative")) { // records of older versions have none
        bench.clock_relative = relative->number(-0.1, 0.1);
    }
    if (const auto date = node.maybe("calibrated_s")) {
        bench.calibrated_s = date->integer<std::uint32_t>(0, 4294967295u);
    }
    const Node identity = node.at("identity");
    bench.identity = message_from_json<wire::IdentifyAnswer>(identity);
    constexpr std::uint32_t kSlowestClockHz = 1'000'000;
    constexpr std::uint32_t kFastestClockHz = 1'000'000'000;
    (void)identity.at("clock_hz").integer<std::uint32_t>(kSlowestClockHz, kFastestClockHz);
    const Node scales = node.at("channel_scale");
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        bench.scale[i] = scale_from_json(scales.at(kChannels[i].name), kChannels[i]);
    }
    return bench;
}

} // namespace yokedock::record
