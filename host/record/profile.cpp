// SPDX-License-Identifier: MIT
#include "host/record/file.hpp"
#include "host/record/json_lines.hpp"
#include "host/record/profile_json.hpp"
#include "host/record/profile_read.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr double kLongestFieldUs = 50000;
constexpr double kLeastFieldWindowUs = 2000;
constexpr double kLongestLineUs = 100;
constexpr double kLeastLineWindowUs = 5;
constexpr std::size_t kMostNotes = 1000;
constexpr std::size_t kMistakesInError = 5;

/// A window lies within one period round sync.
ProfileAxis axis_from_json(const KeyedObject& root, const char* name, double longest_period_us,
                           double least_window_us) {
    ProfileAxis axis;
    const auto node = root.child(name);
    if (!node) {
        return axis;
    }
    const KeyedObject in(*node, name, root.schema());
    const auto from = in.number("visible_from_us");
    const auto to = in.number("visible_to_us");
    const bool has_from = in.child("visible_from_us").has_value();
    const bool has_to = in.child("visible_to_us").has_value();
    if (has_from != has_to) { // one without the other is a slip
        const char* absent = has_from ? "visible_to_us" : "visible_from_us";
        node->absent(absent).complain("missing", expectation_text(*find_profile_key(name, absent)));
    } else if (from && to) {
        const double least = *from + least_window_us;
        const double most = *from + longest_period_us;
        if (*to < least || *to > most) {
            in.place("visible_to_us")
                .complain(fmt::format("{:.6g}", *to),
                          fmt::format("a number from {:.6g} to {:.6g} us, so that the window is "
                                      "not empty and within one period",
                                      least, most));
        }
        axis.visible_us = ProfileAxis::Visible{*from, *to};
    }
    axis.intended_s_q = in.number("intended_s_q").value_or(0);
    return axis;
}

void check_standard(const KeyedObject& root, const std::string& name) {
    std::string known;
    for (const sync::Standard& standard : sync::kStandards) {
        if (name == standard.name) {
            return;
        }
        known += (known.empty() ? "" : ", ") + std::string(standard.name);
    }
    root.place("standard").complain(root.place("standard").in_words(), "one of " + known);
}

ProfileLimits limits_from_json(const KeyedObject& root) {
    ProfileLimits limits;
    if (const auto node = root.child("limits")) {
        const KeyedObject in(*node, "limits", root.schema());
#define X(key, unit, least, most, text) limits.key = in.number(#key);
        YOKEDOCK_PROFILE_LIMITS(X)
#undef X
    }
    return limits;
}

ProfileCoil coil_from_json(const KeyedObject& yoke, const char* axis, const char* object) {
    ProfileCoil coil;
    if (const auto node = yoke.child(axis)) {
        const KeyedObject in(*node, object, yoke.schema());
        coil.inductance_h = in.number("inductance_h");
        coil.resistance_ohm = in.number("resistance_ohm");
        coil.tolerance_pct = in.number("tolerance_pct").value_or(coil.tolerance_pct);
    }
    return coil;
}

std::vector<std::string> notes_from_json(const KeyedObject& root) {
    std::vector<std::string> notes;
    for (const Node& node : root.list("notes", kMostNotes)) {
        notes.push_back(short_text(node, "a note").value_or(""));
    }
    return notes;
}

/// Mistakes with their lines, and what only the text itself shows: keys given twice.
std::vector<ProfileMistake> mistakes_of(const ReadContext& context, const JsonLines& lines) {
    std::vector<ProfileMistake> mistakes;
    for (const JsonLines::Repeated& key : lines.repeated) {
        mistakes.push_back({key.line, key.path, "given twice", "each key once"});
    }
    for (const ReadContext::Complaint& complaint : context.complaints) {
        mistakes.push_back(
            {lines.line(complaint.path), complaint.path, complaint.is, complaint.expected});
    }
    std::stable_sort(
        mistakes.begin(), mistakes.end(),
        [](const ProfileMistake& a, const ProfileMistake& b) { return a.line < b.line; });
    return mistakes;
}

} // namespace

Profile profile_from_json(const Node& node, ReadContext& context) {
    const int schema = node.at("schema").integer<int>(1, 1000000);
    check_schema(node, kProfileSchema, context);
    Profile profile;
    if (schema > kProfileSchema) {
        return profile; // what its keys mean, only the newer version knows
    }
    const KeyedObject root(node, "", std::max(1, schema));
    profile.name = root.text("name").value_or("");
    if (const auto standard = root.text("standard")) {
        profile.standard = *standard;
        check_standard(root, *standard);
    } else if (node.is_object() && !root.child("standard")) {
        for (const char* rate : {"line_rate_hz", "field_rate_hz"}) { // then they are all there is
            if (!root.child(rate)) {
                node.absent(rate).complain("missing", "both rates, or a standard");
            }
        }
    }
    profile.line_rate_hz = root.number("line_rate_hz").value_or(0);
    profile.field_rate_hz = root.number("field_rate_hz").value_or(0);
    profile.vertical = axis_from_json(root, "vertical", kLongestFieldUs, kLeastFieldWindowUs);
    profile.horizontal = axis_from_json(root, "horizontal", kLongestLineUs, kLeastLineWindowUs);
    profile.live_to_mains = root.flag("live_to_mains");
    profile.own_line_output_transformer = root.flag("own_line_output_transformer");
    profile.simulated = root.flag("simulated").value_or(false);
    profile.limits = limits_from_json(root);
    if (const auto yoke = root.child("yoke")) {
        const KeyedObject in(*yoke, "yoke", root.schema());
        profile.vertical_yoke = coil_from_json(in, "vertical", "yoke.vertical");
        profile.horizontal_yoke = coil_from_json(in, "horizontal", "yoke.horizontal");
    }
    profile.questions = questions_from_json(root);
    profile.expected = expected_from_json(root);
    profile.parts = parts_from_json(root);
    profile.notes = notes_from_json(root);
    check_sanity(profile, root);
    return profile;
}

std::vector<const ProfilePart*> find_parts(const Profile& profile, Section section, PartRole role) {
    std::vector<const ProfilePart*> found;
    for (const ProfilePart& part : profile.parts) {
        if (part.section == section && part.role == role) {
            found.push_back(&part);
        }
    }
    return found;
}

Result<CheckedProfile> check_profile_text(const std::string& text, const std::string& file) {
    const Result<nlohmann::json> document = parse_json(text, file, "profile");
    if (!document) {
        return document.error();
    }
    ReadContext context{file, "profile", {}, true};
    Profile profile = profile_from_json(Node(document.value(), context), context);
    if (context.error && context.complaints.empty()) { // a newer schema
        return *context.error;
    }
    CheckedProfile checked{{}, mistakes_of(context, find_json_lines(text))};
    if (checked.mistakes.empty()) {
        checked.profile = std::move(profile);
    }
    return checked;
}

std::string mistake_text(const ProfileMistake& mistake) {
    return fmt::format("line {}: {} is {}, expected {}", mistake.line,
                       mistake.key.empty() ? "the whole file" : mistake.key, mistake.is,
                       mistake.expected);
}

Result<Profile> load_profile(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxProfileBytes, "profile");
    if (!text) {
        return text.error();
    }
    return profile_from_text(text.value(), path);
}

Result<Profile> profile_from_text(const std::string& text, const std::string& path) {
    Result<CheckedProfile> checked = check_profile_text(text, path);
    if (!checked) {
        return checked.error();
    }
    if (checked.value().profile) {
        return *std::move(checked.value().profile);
    }
    const auto& mistakes = checked.value().mistakes;
    std::string words = fmt::format("cannot use profile {}: {} mistake{}", path, mistakes.size(),
                                    mistakes.size() == 1 ? "" : "s");
    for (std::size_t i = 0; i < std::min(mistakes.size(), kMistakesInError); ++i) {
        words += (i == 0 ? ": " : "; ") + mistake_text(mistakes[i]);
    }
    if (mistakes.size() > kMistakesInError) {
        words += fmt::format("; and {} more", mistakes.size() - kMistakesInError);
    }
    return Error{ErrorKind::kFile,
                 words + "; correct them, yokedock profile check FILE tells them all"};
}

} // namespace yokedock::record
