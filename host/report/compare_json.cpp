// SPDX-License-Identifier: MIT
#include "host/record/json_text.hpp"
#include "host/report/compare_report.hpp"
#include "host/report/json.hpp"
#include <cmath>

namespace yokedock::report {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}

Json figure_json(const diagnose::FigureComparison& c) {
    return {{"name", c.name},
            {"unit", c.unit},
            {"value", number(c.value)},
            {"reference", number(c.reference)},
            {"difference", number(c.difference)},
            {"u", number(c.u)},
            {"freedoms", number(c.freedoms)}, // null: many
            {"coverage", number(c.coverage)},
            {"references", c.references},
            {"spread", number(c.spread)},
            {"tolerance", number(c.tolerance)},
            {"basis", c.basis},
            {"real", c.real},
            {"verdict", verdict_word(c.verdict)},
            {"reason", c.reason},
            {"where", c.where}};
}

Json largest_json(const diagnose::RampComparison::Largest& l) {
    return {{"pct", l.pct}, {"u_pct", l.u_pct}, {"place", l.place}, {"where", l.where}};
}

Json ramp_json(const diagnose::RampComparison& r) {
    Json out{{"channel", r.channel}, {"verdict", verdict_word(r.verdict)}, {"reason", r.reason}};
    if (r.x.empty()) {
        return out;
    }
    out["against_sync"] = r.against_sync;
    out["window_begin_s"] = r.window_begin_s;
    out["window_end_s"] = r.window_end_s;
    out["reference_pp_a"] = r.pp;
    out["largest"] = largest_json(r.largest);
    out["rms_pct"] = r.rms_pct;
    out["rms_u_pct"] = r.rms_u_pct;
    out["size_ratio"] = r.size_ratio;
    out["size_ratio_u"] = r.size_ratio_u;
    out["shift_pct"] = r.shift_pct;
    out["shift_u_pct"] = r.shift_u_pct;
    out["shape_largest"] = largest_json(r.shape_largest);
    out["shape_rms_pct"] = r.shape_rms_pct;
    out["shape_rms_u_pct"] = r.shape_rms_u_pct;
    out["tolerance_pct"] = r.tolerance_pct;
    out["basis"] = r.basis;
    out["coverage"] = number(r.coverage);
    out["place"] = r.x;
    out["difference_pct"] = r.difference_pct;
    out["shape_pct"] = r.shape_pct;
    return out;
}

const char* state_word(diagnose::ConditionState state) {
    return state == diagnose::ConditionState::kEqual   ? "equal"
           : state == diagnose::ConditionState::kOther ? "other"
                                                       : "unknown";
}

} // namespace

std::string compare_json(const diagnose::Comparison& comparison, const std::string& record_name,
                         const std::vector<std::string>& warnings) {
    Json axes = Json::array();
    for (const diagnose::AxisVerdict& a : comparison.axes) {
        axes.push_back({{"axis", diagnose::word_of(a.axis)},
                        {"verdict", verdict_word(a.verdict)},
                        {"differ", a.differ},
                        {"open", a.open}});
    }
    Json conditions = Json::array();
    for (const diagnose::Condition& c : comparison.conditions) {
        conditions.push_back({{"what", c.what},
                              {"state", state_word(c.state)},
                              {"stops", c.stops},
                              {"text", c.text}});
    }
    Json figures = Json::array();
    for (const diagnose::FigureComparison& c : comparison.figures) {
        figures.push_back(figure_json(c));
    }
    Json ramps = Json::array();
    for (const diagnose::RampComparison& r : comparison.ramps) {
        ramps.push_back(ramp_json(r));
    }
    return record::json_text(
        {{"schema", kOutputSchema},
         {"command", "compare"},
         {"record", record_name},
         {"references", comparison.references},
         {"reference_is",
          comparison.kind == diagnose::ReferenceKind::kSameBoard ? "same-board" : "other-boards"},
         {"verdict", verdict_word(comparison.verdict)},
         {"tests", comparison.tests},
         {"false_alarm", diagnose::kFalseAlarm},
         {"axes", axes},
         {"conditions", conditions},
         {"ramps", ramps},
         {"warnings", warnings},
         {"figures", figures}});
}

} // namespace yokedock::report
