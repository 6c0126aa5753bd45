// SPDX-License-Identifier: MIT
#include "host/record/raw_json.hpp"
#include <cmath>

namespace yokedock::record {
namespace {

using analysis::FigureStatus;
using Json = nlohmann::ordered_json;

constexpr std::size_t kMostFigures = 10'000;

/// X(name in the file, FigureStatus)
#define YOKEDOCK_FIGURE_STATES(X)                                                                  \
    X("measured", kMeasured) X("not_measured", kNotMeasured) X("out_of_range", kOutOfRange)

const char* status_name(FigureStatus status) {
#define X(name, id)                                                                                \
    if (status == FigureStatus::id) {                                                              \
        return name;                                                                               \
    }
    YOKEDOCK_FIGURE_STATES(X)
#undef X
    return "unknown";
}

FigureStatus status_from(const Node& node) {
    const std::string text = node.text();
#define X(name, id)                                                                                \
    if (text == name) {                                                                            \
        return FigureStatus::id;                                                                   \
    }
    YOKEDOCK_FIGURE_STATES(X)
#undef X
    node.complain('"' + text.substr(0, 40) + '"', "measured, not_measured or out_of_range");
    return FigureStatus::kNotMeasured;
}

/// JSON has no NaN: null says that there is no number.
Json number_or_null(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}

} // namespace

Json figure_to_json(const analysis::Figure& f) {
    return {{"name", f.name},
            {"text", f.text},
            {"unit", f.unit},
            {"status", status_name(f.status)},
            {"value", number_or_null(f.value)},
            {"u", number_or_null(f.u)},
            {"u_clock", number_or_null(f.u_clock)},
            {"u_scale", number_or_null(f.u_scale)},
            {"count", f.count},
            {"method", f.method},
            {"reason", f.reason},
            {"where", f.where}};
}

analysis::Figure figure_from_json(const Node& node) {
    return {node.at("name").text(),
            node.at("text").text(),
            node.at("unit").text(),
            node.at("value").number_or_null(),
            node.at("u").number_or_null(),
            node.at("count").integer<std::size_t>(0, INT64_MAX),
            node.at("method").text(),
            status_from(node.at("status")),
            node.at("reason").text(),
            node.at("where").text(),
            node.at("u_clock").number_or_null(),
            node.at("u_scale").number_or_null()};
}

Json figures_to_json(const analysis::FigureSet& figures) {
    Json out = Json::array();
    for (const analysis::Figure& figure : figures) {
        out.push_back(figure_to_json(figure));
    }
    return out;
}

analysis::FigureSet figures_from_json(const Node& node) {
    analysis::FigureSet figures;
    for (const Node& entry : node.elements(kMostFigures)) {
        figures.push_back(figure_from_json(entry));
    }
    return figures;
}

} // namespace yokedock::record
