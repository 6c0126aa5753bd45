// SPDX-License-Identifier: MIT
#include "host/record/catalogue_file.hpp"
#include "host/record/figure_names.hpp"
#include "host/record/file.hpp"
#include "host/record/json_lines.hpp"
#include "host/record/json_reader.hpp"
#include "host/record/part_roles.hpp"
#include "shared/wire/messages.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <set>
#include <string_view>

namespace yokedock::record {
namespace {

using diagnose::Scale;

constexpr std::size_t kMostRows = 500;
constexpr std::size_t kMostWords = 50;

/// Figures of a diagnosis that are none of the analysis: facts of a dead board, and a mean.
constexpr const char* kOwnFigures[] = {"v_pulses_seen",  "h_pulses_seen",  "v_current_seen",
                                       "h_current_seen", "v_output_moves", "v_out_level_v",
                                       "start_rail_up"};

struct ScaleWord {
    const char* word;
    Scale scale;
};
constexpr ScaleWord kScales[] = {{"ratio", Scale::kRatio},
                                 {"difference", Scale::kDifference},
                                 {"share_of_swing", Scale::kShareOfSwing},
                                 {"share_of_rail", Scale::kShareOfRail},
                                 {"heat_rise", Scale::kHeatRise},
                                 {"flag", Scale::kFlag}};

bool is_section(const std::string& word) {
    return std::any_of(std::begin(kSections), std::end(kSections),
                       [&](const SectionRow& row) { return word == row.word; });
}

bool is_role(const std::string& word) {
    return std::any_of(std::begin(kPartRoles), std::end(kPartRoles),
                       [&](const RoleRow& row) { return word == row.word; });
}

bool is_figure(const std::string& name) {
    return analysis::find_figure(known_figures(), name) != nullptr ||
           std::any_of(std::begin(kOwnFigures), std::end(kOwnFigures),
                       [&](const char* own) { return name == own; });
}

bool is_stop_cause(const std::string& word) {
    constexpr const char* kCauses[] = {
#define X(name, code, text, next) #name,
        YOKEDOCK_STOP_CAUSES(X)
#undef X
    };
    return std::any_of(std::begin(kCauses), std::end(kCauses),
                       [&](const char* cause) { return word == cause; });
}

std::string filled_text(const Node& node) {
    const std::string text = node.text();
    if (!node.failed() && text.empty()) {
        node.complain("empty", "a few words");
    }
    return text;
}

/// A yes that may be left out.
bool is_set(const Node& node, const char* key) {
    const auto found = node.maybe(key);
    return found && found->boolean();
}

template <class Check>
std::string checked_word(const Node& node, Check good, const char* expected) {
    const std::string word = node.text();
    if (!node.failed() && !good(word)) {
        node.complain(node.in_words(), expected);
    }
    return word;
}

template <class Check>
std::vector<std::string> words(const Node& node, Check good, const char* expected) {
    std::vector<std::string> out;
    for (const Node& element : node.elements(kMostWords)) {
        out.push_back(checked_word(element, good, expected));
    }
    return out;
}

Scale scale_from(const Node& node) {
    const std::string word = node.text();
    for (const ScaleWord& row : kScales) {
        if (word == row.word) {
            return row.scale;
        }
    }
    if (!node.failed()) {
        node.complain(node.in_words(),
                      "ratio, difference, share_of_swing, share_of_rail, heat_rise or flag");
    }
    return Scale::kRatio;
}

diagnose::Feature feature_from(const std::string& name, const Node& node) {
    node.allow_only({"scale", "broad", "default_tolerance", "floor", "rail_power", "rate_power",
                     "needs_lock", "only_relates", "root", "weight"});
    if (!is_figure(name)) {
        const std::string near = nearest_figure_name(name);
        node.complain("a figure that nobody measures",
                      near.empty() ? "a figure's name" : "a figure's name, perhaps " + near);
    }
    diagnose::Feature f;
    f.name = name;
    f.scale = scale_from(node.at("scale"));
    f.broad = node.at("broad").number(1e-6, 1e6);
    f.default_tolerance = node.at("default_tolerance").number(0, 1e6);
    f.floor = node.at("floor").number(0, 1e6);
    if (const auto power = node.maybe("rail_power")) {
        const std::vector<double> pair = power->numbers(2);
        if (pair.size() == 2 && pair[0] <= pair[1]) {
            f.rail_power_low = pair[0];
            f.rail_power_high = pair[1];
        } else if (!power->failed()) {
            power->complain(power->in_words(), "two numbers, the lower first");
        }
    }
    if (const auto power = node.maybe("rate_power")) {
        f.rate_power = power->number(-3, 3);
    }
    if (const auto weight = node.maybe("weight")) {
        f.weight = weight->number(0.1, 1);
    }
    f.root = is_set(node, "root");
    f.needs_lock = is_set(node, "needs_lock");
    f.only_relates = is_set(node, "only_relates");
    return f;
}

diagnose::Effect effect_from(const Node& node, const diagnose::Feature& feature) {
    node.allow_only({"low", "mid", "high", "sd", "either_sign", "maybe"});
    const bool flag = feature.scale == Scale::kFlag;
    const bool ratio = feature.scale == Scale::kRatio;
    const bool heat = feature.scale == Scale::kHeatRise;
    const double least = flag || heat ? 0 : ratio ? 0.01 : -1e6;
    const double most = flag ? 1 : ratio ? 100 : 1e6;
    diagnose::Effect e;
    e.low = node.at("low").number(least, most);
    e.high = node.at("high").number(least, most);
    if (const auto mid = node.maybe("mid")) {
        e.mid = mid->number(least, most);
    }
    if (const auto sd = node.maybe("sd")) {
        e.sd = sd->number(0, 1e6);
    }
    e.either_sign = is_set(node, "either_sign");
    e.maybe = is_set(node, "maybe");
    return e;
}

std::map<std::string, diagnose::Effect> effects_from(const Node& node,
                                                     const diagnose::Catalogue& catalogue) {
    std::map<std::string, diagnose::Effect> out;
    for (const auto& [name, at] : node.members(kMostRows)) {
        const auto& features = catalogue.features;
        const auto feature = std::find_if(features.begin(), features.end(),
                                          [&n = name](const auto& f) { return f.name == n; });
        if (feature == features.end()) {
            at.complain("a figure that is not listed", "one of the file's own \"figures\"");
            continue;
        }
        out[name] = effect_from(at, *feature);
    }
    if (!node.failed() && out.empty()) {
        node.complain("empty", "at least one figure that the fault moves");
    }
    return out;
}

const auto kAnyWord = [](const std::string& word) { return !word.empty(); };

diagnose::FaultRow fault_from(const Node& node, const diagnose::Catalogue& catalogue) {
    node.allow_only({"id", "section", "text", "roles", "prior", "figures", "derivation",
                     "mistaken_for", "checks", "trips", "comes_with_heat", "keep_off"});
    diagnose::FaultRow row;
    row.id = filled_text(node.at("id"));
    row.section = checked_word(node.at("section"), is_section, "a section of docs/profile.md");
    row.text = filled_text(node.at("text"));
    row.roles = words(node.at("roles"), is_role, "a role of docs/profile.md");
    row.prior = node.at("prior").number(1e-3, 1e3);
    row.figures = effects_from(node.at("figures"), catalogue);
    row.comes_with_heat = is_set(node, "comes_with_heat");
    row.keep_off = is_set(node, "keep_off");
    row.derivation = filled_text(node.at("derivation"));
    row.mistaken_for = words(node.at("mistaken_for"), kAnyWord, "a fault's id");
    row.checks = words(node.at("checks"), kAnyWord, "a check's id");
    if (const auto trips = node.maybe("trips")) {
        row.trips = words(*trips, is_stop_cause, "the name of a cause of a trip");
    }
    return row;
}

diagnose::Check check_from(const Node& node) {
    node.allow_only({"id", "minutes", "text", "finds", "powered"});
    return {filled_text(node.at("id")), filled_text(node.at("text")),
            node.at("minutes").number(0.1, 1000), is_set(node, "powered"),
            words(node.at("finds"), kAnyWord, "a fault's id")};
}

void complain_of_strangers(const Node& list, const std::vector<std::string>& named,
                           const std::set<std::string>& ids, const char* expected) {
    for (const std::string& id : named) {
        if (ids.count(id) == 0 && !list.failed()) {
            list.complain("\"" + id + "\", which is not in the file", expected);
        }
    }
}

/// Ids are unique, and who is named exists.
void check_ids(const Node& root, const diagnose::Catalogue& c) {
    const Node faults = root.at("faults");
    const Node checks = root.at("checks");
    std::set<std::string> fault_ids;
    std::set<std::string> check_ids;
    for (const auto& row : c.faults) {
        if (!fault_ids.insert(row.id).second) {
            faults.complain("\"" + row.id + "\" twice", "each id once");
        }
    }
    for (const auto& check : c.checks) {
        if (!check_ids.insert(check.id).second) {
            checks.complain("\"" + check.id + "\" twice", "each id once");
        }
    }
    const std::vector<Node> rows = faults.elements(kMostRows);
    for (std::size_t i = 0; i < rows.size() && i < c.faults.size(); ++i) {
        complain_of_strangers(rows[i].at("mistaken_for"), c.faults[i].mistaken_for, fault_ids,
                              "a fault's id");
        complain_of_strangers(rows[i].at("checks"), c.faults[i].checks, check_ids, "a check's id");
    }
    const std::vector<Node> check_rows = checks.elements(kMostRows);
    for (std::size_t i = 0; i < check_rows.size() && i < c.checks.size(); ++i) {
        complain_of_strangers(check_rows[i].at("finds"), c.checks[i].finds, fault_ids,
                              "a fault's id");
    }
}

diagnose::Catalogue catalogue_from_json(const Node& root) {
    diagnose::Catalogue out;
    root.allow_only({"schema", "priors", "figures", "faults", "checks"});
    const Node priors = root.at("priors");
    priors.allow_only({"healthy", "other"});
    out.prior_healthy = priors.at("healthy").number(0.01, 0.98);
    out.prior_other = priors.at("other").number(0.001, 0.98);
    if (!root.failed() && out.prior_healthy + out.prior_other > 0.99) {
        priors.complain("healthy and other together above 0.99", "something left for the faults");
    }
    for (const auto& [name, node] : root.at("figures").members(kMostRows)) {
        out.features.push_back(feature_from(name, node));
    }
    for (const Node& node : root.at("faults").elements(kMostRows)) {
        out.faults.push_back(fault_from(node, out));
    }
    for (const Node& node : root.at("checks").elements(kMostRows)) {
        out.checks.push_back(check_from(node));
    }
    if (!root.failed() && out.faults.empty()) {
        root.at("faults").complain("empty", "at least one fault");
    }
    if (!root.failed()) {
        check_ids(root, out);
    }
    return out;
}

Error wrong(const std::string& file, int line, const ReadContext::Complaint& complaint) {
    return {ErrorKind::kFile,
            fmt::format("cannot use catalogue {}: line {}: {} is {}, expected {}; correct it, or "
                        "leave --catalogue out to use the built-in one",
                        file, line, complaint.path.empty() ? "the whole file" : complaint.path,
                        complaint.is, complaint.expected)};
}

} // namespace

Result<diagnose::Catalogue> catalogue_from_text(const std::string& text, const std::string& file) {
    const Result<nlohmann::json> document = parse_json(text, file, "catalogue");
    if (!document) {
        return document.error();
    }
    ReadContext context{file, "catalogue", std::nullopt};
    const Node root(document.value(), context);
    check_schema(root, kCatalogueSchema, context);
    diagnose::Catalogue out;
    if (!context.error) {
        out = catalogue_from_json(root);
    }
    const JsonLines lines = find_json_lines(text);
    if (!context.error && !lines.repeated.empty()) {
        const JsonLines::Repeated& key = lines.repeated.front();
        return wrong(file, key.line, {key.path, "given twice", "each key once"});
    }
    if (context.error && context.first) {
        return wrong(file, lines.line(context.first->path), *context.first);
    }
    return context.error ? Result<diagnose::Catalogue>(*context.error) : out;
}

Result<diagnose::Catalogue> load_catalogue(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxCatalogueBytes, "catalogue");
    return text ? catalogue_from_text(text.value(), path) : text.error();
}

Result<diagnose::Catalogue> built_in_catalogue() {
    return catalogue_from_text(built_in_catalogue_text(), "built-in catalogue");
}

} // namespace yokedock::record
