// SPDX-License-Identifier: MIT
#include "host/record/profile.hpp"
#include "host/record/file.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"

namespace yokedock::record {
namespace {

/// Peak to peak of a ramp bent further than this is no S-correction any more.
constexpr double kMostIntendedSPct = 20;
constexpr double kLeastVisiblePct = 20;

nlohmann::ordered_json axis_to_json(const ProfileAxis& axis) {
    return {{"visible_from_pct", axis.visible_from_pct},
            {"visible_to_pct", axis.visible_to_pct},
            {"intended_s_pct", axis.intended_s_pct}};
}

ProfileAxis axis_from_json(const Node& node) {
    node.allow_only({"visible_from_pct", "visible_to_pct", "intended_s_pct"});
    ProfileAxis axis;
    axis.visible_from_pct = node.at("visible_from_pct").number(0, 100 - kLeastVisiblePct);
    axis.visible_to_pct =
        node.at("visible_to_pct").number(axis.visible_from_pct + kLeastVisiblePct, 100);
    if (const auto s = node.maybe("intended_s_pct")) {
        axis.intended_s_pct = s->number(-kMostIntendedSPct, kMostIntendedSPct);
    }
    return axis;
}

void check_standard(const Node& node, const std::string& name) {
    std::string known;
    for (const sync::Standard& standard : sync::kStandards) {
        if (name == standard.name) {
            return;
        }
        known += (known.empty() ? "" : ", ") + std::string(standard.name);
    }
    node.complain('"' + name.substr(0, 40) + '"', "one of " + known);
}

} // namespace

nlohmann::ordered_json profile_to_json(const Profile& profile) {
    nlohmann::ordered_json out{{"schema", kProfileSchema}, {"name", profile.name}};
    if (!profile.standard.empty()) {
        out["standard"] = profile.standard;
    }
    if (profile.line_rate_hz > 0) {
        out["line_rate_hz"] = profile.line_rate_hz;
    }
    if (profile.field_rate_hz > 0) {
        out["field_rate_hz"] = profile.field_rate_hz;
    }
    out["vertical"] = axis_to_json(profile.vertical);
    out["horizontal"] = axis_to_json(profile.horizontal);
    return out;
}

Profile profile_from_json(const Node& node, ReadContext& context) {
    check_schema(node, kProfileSchema, context);
    node.allow_only(
        {"schema", "name", "standard", "line_rate_hz", "field_rate_hz", "vertical", "horizontal"});
    Profile profile;
    profile.name = node.at("name").text();
    if (const auto standard = node.maybe("standard")) {
        profile.standard = standard->text();
        check_standard(*standard, profile.standard);
    } else { // without a standard the rates are all there is
        profile.line_rate_hz = node.at("line_rate_hz").number();
        profile.field_rate_hz = node.at("field_rate_hz").number();
    }
    if (const auto rate = node.maybe("line_rate_hz")) {
        profile.line_rate_hz =
            rate->number(sync::kMinLineRateMhz / 1000.0, sync::kMaxLineRateMhz / 1000.0);
    }
    if (const auto rate = node.maybe("field_rate_hz")) {
        profile.field_rate_hz = rate->number(10, 200);
    }
    if (const auto axis = node.maybe("vertical")) {
        profile.vertical = axis_from_json(*axis);
    }
    if (const auto axis = node.maybe("horizontal")) {
        profile.horizontal = axis_from_json(*axis);
    }
    return profile;
}

Result<Profile> load_profile(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxProfileBytes, "profile");
    if (!text) {
        return text.error();
    }
    const Result<nlohmann::json> document = parse_json(text.value(), path, "profile");
    if (!document) {
        return document.error();
    }
    ReadContext context{path, "profile", {}};
    Profile profile = profile_from_json(Node(document.value(), context), context);
    if (context.error) {
        return *context.error;
    }
    return profile;
}

} // namespace yokedock::record
