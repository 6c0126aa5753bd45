// SPDX-License-Identifier: MIT
#include "host/record/coil_file.hpp"
#include "host/record/figures_json.hpp"
#include "host/record/json_text.hpp"

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kWhat = "yoke file";
constexpr const char* kKind = "learned yokes";

Json load_to_json(const std::optional<LearnedLoad>& load) {
    if (!load) {
        return Json();
    }
    return {{"time_utc", load->time_utc},
            {"bench_serial", load->bench_serial},
            {"second_time_constant", load->coil.second},
            {"tolerance_pct", load->coil.tolerance_pct},
            {"resistance", figure_to_json(load->coil.resistance)},
            {"inductance", figure_to_json(load->coil.inductance)},
            {"fast_inductance", figure_to_json(load->coil.fast_inductance)}};
}

std::optional<LearnedLoad> load_at(const Node& root, const char* key) {
    const auto node = root.maybe(key);
    if (!node) {
        return std::nullopt;
    }
    node->allow_only({"time_utc", "bench_serial", "second_time_constant", "tolerance_pct",
                      "resistance", "inductance", "fast_inductance"});
    LearnedLoad load;
    load.time_utc = node->at("time_utc").text();
    load.bench_serial = node->at("bench_serial").integer<std::uint32_t>(0, 4294967295u);
    load.coil.second = node->at("second_time_constant").boolean();
    load.coil.tolerance_pct = node->at("tolerance_pct").number(0.1, 50);
    load.coil.resistance = figure_from_json(node->at("resistance"));
    load.coil.inductance = figure_from_json(node->at("inductance"));
    load.coil.fast_inductance = figure_from_json(node->at("fast_inductance"));
    return load;
}

} // namespace

std::string coil_text(const CoilFile& file) {
    return json_text({{"schema", kCoilSchema},
                      {"kind", kKind},
                      {"simulated", file.simulated},
                      {"vertical", load_to_json(file.vertical)},
                      {"horizontal", load_to_json(file.horizontal)}});
}

Result<CoilFile> coil_from_text(const std::string& text, const std::string& file) {
    const auto json = parse_json(text, file, kWhat);
    if (!json) {
        return json.error();
    }
    ReadContext context{file, kWhat, {}};
    const Node root(json.value(), context);
    check_schema(root, kCoilSchema, context);
    root.allow_only({"schema", "kind", "simulated", "vertical", "horizontal"});
    if (const std::string kind = root.at("kind").text(); kind != kKind && !root.failed()) {
        root.at("kind").complain('"' + kind.substr(0, 40) + '"', "\"learned yokes\"");
    }
    CoilFile out;
    out.simulated = root.at("simulated").boolean();
    out.vertical = load_at(root, "vertical");
    out.horizontal = load_at(root, "horizontal");
    if (context.error) {
        return *context.error;
    }
    return out;
}

Result<CoilFile> load_coils(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxCoilBytes, kWhat);
    return text ? coil_from_text(text.value(), path) : Result<CoilFile>(text.error());
}

Status save_coils(const CoilFile& file, const std::string& path) {
    return write_file(path, coil_text(file), IfExists::kReplace);
}

} // namespace yokedock::record
