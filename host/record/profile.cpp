// SPDX-License-Identifier: MIT
#include "host/record/file.hpp"
#include "host/record/profile_json.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"

namespace yokedock::record {
namespace {

/// Beyond a quarter wave the current would turn back before the end of the trace.
constexpr double kMostIntendedSQ = 1.57;
constexpr double kLongestFieldUs = 50000;
constexpr double kLeastFieldWindowUs = 2000;
constexpr double kLongestLineUs = 100;
constexpr double kLeastLineWindowUs = 5;

nlohmann::ordered_json axis_to_json(const ProfileAxis& axis) {
    nlohmann::ordered_json out = nlohmann::ordered_json::object();
    if (axis.visible_us) {
        out["visible_from_us"] = axis.visible_us->from;
        out["visible_to_us"] = axis.visible_us->to;
    }
    out["intended_s_q"] = axis.intended_s_q;
    return out;
}

/// A window lies within one period round sync.
ProfileAxis axis_from_json(const Node& node, double longest_period_us, double least_window_us) {
    node.allow_only({"visible_from_us", "visible_to_us", "intended_s_q"});
    ProfileAxis axis;
    if (node.maybe("visible_from_us") ||
        node.maybe("visible_to_us")) { // one without the other is a slip
        ProfileAxis::Visible visible{};
        visible.from = node.at("visible_from_us").number(-longest_period_us / 2, longest_period_us);
        visible.to = node.at("visible_to_us")
                         .number(visible.from + least_window_us, visible.from + longest_period_us);
        axis.visible_us = visible;
    }
    if (const auto s = node.maybe("intended_s_q")) {
        axis.intended_s_q = s->number(0, kMostIntendedSQ);
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
        profile.vertical = axis_from_json(*axis, kLongestFieldUs, kLeastFieldWindowUs);
    }
    if (const auto axis = node.maybe("horizontal")) {
        profile.horizontal = axis_from_json(*axis, kLongestLineUs, kLeastLineWindowUs);
    }
    return profile;
}

Result<Profile> load_profile(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxProfileBytes, "profile");
    if (!text) {
        return text.error();
    }
    return profile_from_text(text.value(), path);
}

Result<Profile> profile_from_text(const std::string& text, const std::string& file) {
    const Result<nlohmann::json> document = parse_json(text, file, "profile");
    if (!document) {
        return document.error();
    }
    ReadContext context{file, "profile", {}};
    Profile profile = profile_from_json(Node(document.value(), context), context);
    if (context.error) {
        return *context.error;
    }
    return profile;
}

} // namespace yokedock::record
