// SPDX-License-Identifier: MIT
#include "host/record/json_text.hpp"
#include "host/record/profile_json.hpp"
#include <algorithm>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

template <class T> void put(Json& out, const char* key, const std::optional<T>& value) {
    if (value) {
        out[key] = *value;
    }
}

void put_text(Json& out, const char* key, const std::string& text) {
    if (!text.empty()) {
        out[key] = text;
    }
}

void put_object(Json& out, const char* key, const Json& object) {
    if (!object.empty()) {
        out[key] = object;
    }
}

Json axis_to_json(const ProfileAxis& axis) {
    Json out = Json::object();
    if (axis.visible_us) {
        out["visible_from_us"] = axis.visible_us->from;
        out["visible_to_us"] = axis.visible_us->to;
    }
    out["intended_s_q"] = axis.intended_s_q;
    return out;
}

Json limits_to_json(const ProfileLimits& limits) {
    Json out = Json::object();
#define X(key, unit, least, most, text) put(out, #key, limits.key);
    YOKEDOCK_PROFILE_LIMITS(X)
#undef X
    return out;
}

Json coil_to_json(const ProfileCoil& coil) {
    Json out = Json::object();
    put(out, "inductance_h", coil.inductance_h);
    put(out, "resistance_ohm", coil.resistance_ohm);
    if (!out.empty()) {
        out["tolerance_pct"] = coil.tolerance_pct;
    }
    return out;
}

const char* basis_word(ExpectationBasis basis) {
    switch (basis) {
    case ExpectationBasis::kDefault:
        return "default";
    case ExpectationBasis::kSpread:
        return "spread";
    case ExpectationBasis::kStated:
        break;
    }
    return "stated";
}

Json expected_to_json(const std::map<std::string, ExpectedFigure>& expected) {
    Json out = Json::object();
    for (const auto& [name, figure] : expected) {
        Json one{{"value", figure.value},
                 {figure.tolerance_is_pct ? "tolerance_pct" : "tolerance", figure.tolerance},
                 {"basis", basis_word(figure.basis)}};
        if (figure.boards > 0) {
            one["boards"] = figure.boards;
        }
        put(one, "spread", figure.spread);
        out[name] = std::move(one);
    }
    return out;
}

Json part_to_json(const ProfilePart& part) {
    Json out{{"designator", part.designator},
             {"section", word_of(part.section)},
             {"role", word_of(part.role)}};
    for (const QuantityRow& row : kPartQuantities) {
        if (part.quantity == row.quantity) {
            out[row.key] = part.value;
        }
    }
    put(out, "tolerance_pct", part.tolerance_pct);
    put_text(out, "type", part.type);
    put(out, "rating_v", part.rating_v);
    put(out, "rating_a", part.rating_a);
    put(out, "rating_w", part.rating_w);
    put(out, "rating_c", part.rating_c);
    if (!part.replaced_on.empty()) {
        out["replaced_on"] = part.replaced_on;
    }
    put_text(out, "note", part.note);
    return out;
}

} // namespace

Json profile_to_json(const Profile& profile) {
    Json out{{"schema", kProfileSchema}, {"name", profile.name}};
    put_text(out, "standard", profile.standard);
    if (profile.line_rate_hz > 0) {
        out["line_rate_hz"] = profile.line_rate_hz;
    }
    if (profile.field_rate_hz > 0) {
        out["field_rate_hz"] = profile.field_rate_hz;
    }
    out["vertical"] = axis_to_json(profile.vertical);
    out["horizontal"] = axis_to_json(profile.horizontal);
    put(out, "live_to_mains", profile.live_to_mains);
    put(out, "own_line_output_transformer", profile.own_line_output_transformer);
    if (profile.simulated) {
        out["simulated"] = true;
    }
    put_object(out, "limits", limits_to_json(profile.limits));
    Json yoke = Json::object();
    put_object(yoke, "vertical", coil_to_json(profile.vertical_yoke));
    put_object(yoke, "horizontal", coil_to_json(profile.horizontal_yoke));
    put_object(out, "yoke", yoke);
    for (const ProfileQuestion& question : profile.questions) {
        out["questions"].push_back({{"id", question.id}, {"text", question.text}});
    }
    put_object(out, "expected", expected_to_json(profile.expected));
    for (const ProfilePart& part : profile.parts) {
        out["parts"].push_back(part_to_json(part));
    }
    if (!profile.notes.empty()) {
        out["notes"] = profile.notes;
    }
    return out;
}

std::string profile_text(const Profile& profile) {
    return json_text(profile_to_json(profile));
}

} // namespace yokedock::record
