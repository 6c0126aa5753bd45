// SPDX-License-Identifier: MIT
#include "host/cli/profile_form.hpp"
#include "host/cli/parser.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace yokedock::cli {
namespace {

using record::KeyType;
using record::ProfileKey;

const ProfileKey* key_at(const char* object, const char* key) {
    return record::find_profile_key(object, key);
}

/// "limits" adds nothing to an option's name: all of them are named apart.
std::string option_name(const ProfileKey& key) {
    const std::string object = key.object;
    std::string name = object.empty() || object == "limits" ? std::string() : object + '.';
    if (name.rfind("yoke.", 0) == 0) {
        name = name.substr(5) + "yoke_";
    }
    name += key.key;
    std::replace_if(
        name.begin(), name.end(), [](char c) { return c == '.' || c == '_'; }, '-');
    return "--" + name;
}

std::vector<FormField> make_fields() {
    std::vector<FormField> fields;
    for (const ProfileKey& key : record::profile_keys()) {
        const std::string object = key.object;
        const bool one_word = key.type == KeyType::kText || key.type == KeyType::kNumber ||
                              key.type == KeyType::kFlag;
        const bool of_many =
            object == "questions[]" || object == "parts[]" || object == "expected.FIGURE";
        const std::string name = key.key;
        const bool ours = object.empty() && (name == "schema" || name == "simulated");
        if (!one_word || of_many || ours) {
            continue;
        }
        const std::string path = object.empty() ? key.key : object + '.' + key.key;
        const bool needed = path == "name" || path == "standard" || path == "live_to_mains" ||
                            path == "own_line_output_transformer";
        fields.push_back({key_at(key.object, key.key), path, option_name(key), needed});
    }
    return fields;
}

/// A whole number or decimal; NaN for anything else.
double number_of(const std::string& word) {
    const std::optional<double> number = parse_number(word);
    return number && std::isfinite(*number) ? *number : NAN;
}

bool is_yes(const std::string& word) {
    return word == "yes" || word == "y" || word == "true";
}
bool is_no(const std::string& word) {
    return word == "no" || word == "n" || word == "false";
}

} // namespace

const std::vector<FormField>& form_fields() {
    static const std::vector<FormField> fields = make_fields();
    return fields;
}

std::string word_problem(const FormField& field, const std::string& word) {
    bool good = !word.empty();
    std::string expected = record::expectation_text(*field.key);
    if (field.key->type == KeyType::kNumber) {
        const double number = number_of(word);
        good = number >= field.key->least && number <= field.key->most;
    } else if (field.key->type == KeyType::kFlag) {
        good = is_yes(word) || is_no(word);
        expected = fmt::format("yes or no ({})", field.key->text);
    }
    return good ? "" : fmt::format("\"{}\", expected {}", word.substr(0, 40), expected);
}

std::vector<const FormField*> missing_fields(const FormWords& words) {
    std::vector<const FormField*> missing;
    const bool rates = words.count("line_rate_hz") != 0 && words.count("field_rate_hz") != 0;
    for (const FormField& field : form_fields()) {
        if (field.needed && words.count(field.path) == 0 && !(field.path == "standard" && rates)) {
            missing.push_back(&field);
        }
    }
    return missing;
}

record::CheckedProfile profile_of(const FormWords& words) {
    nlohmann::ordered_json document{{"schema", record::kProfileSchema}};
    for (const FormField& field : form_fields()) {
        const auto word = words.find(field.path);
        if (word == words.end()) {
            continue;
        }
        std::string pointer = '/' + field.path;
        std::replace(pointer.begin(), pointer.end(), '.', '/');
        auto& at = document[nlohmann::ordered_json::json_pointer(pointer)];
        if (field.key->type == KeyType::kNumber) {
            at = number_of(word->second);
        } else if (field.key->type == KeyType::kFlag) {
            at = is_yes(word->second);
        } else {
            at = word->second;
        }
    }
    // Made here a moment ago, so it is JSON.
    return record::check_profile_text(
               document.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace), "new")
        .value();
}

} // namespace yokedock::cli
