// SPDX-License-Identifier: MIT
#include "host/record/power_questions.hpp"
#include "host/record/profile_keys.hpp"
#include <fmt/format.h>

namespace yokedock::record {
namespace {

std::string type_text(const ProfileKey& row) {
    switch (row.type) {
    case KeyType::kText:
        return "text";
    case KeyType::kFlag:
        return "true or false";
    case KeyType::kObject:
        return "object";
    case KeyType::kList:
        return "array";
    case KeyType::kNumber:
        break;
    }
    const std::string unit = *row.unit == 0 ? "" : std::string(" ") + row.unit;
    return row.most >= 1e12 ? "number" + unit
                            : fmt::format("{:.6g} to {:.6g}{}", row.least, row.most, unit);
}

std::string keys_of(const std::string& object) {
    std::string out = "| key | what may stand there | meaning |\n|---|---|---|\n";
    for (const ProfileKey& row : profile_keys()) {
        if (object == row.object) {
            out += fmt::format("| `{}`{} | {} | {} |\n", row.key, row.required ? " (needed)" : "",
                               type_text(row), row.text);
        }
    }
    return out;
}

const char* when_text(AskedWhen when) {
    switch (when) {
    case AskedWhen::kLive:
        return "unless `live_to_mains` is false";
    case AskedWhen::kHighVoltage:
        return "unless `own_line_output_transformer` is false";
    case AskedWhen::kAlways:
        break;
    }
    return "always";
}

const char* value_key(PartQuantity quantity) {
    for (const QuantityRow& row : kPartQuantities) {
        if (row.quantity == quantity) {
            return row.key;
        }
    }
    return "any or none";
}

} // namespace

std::string profile_page_tables() {
    std::string out;
    std::string object = "none yet";
    for (const ProfileKey& row : profile_keys()) {
        if (object != row.object) {
            object = row.object;
            out += fmt::format("\n### {}\n\n", object.empty() ? "The file" : '`' + object + '`');
            out += keys_of(object);
        }
    }
    out += "\n### Questions always known\n\n| id | asked | question |\n|---|---|---|\n";
    for (const BuiltInQuestion& question : kPowerQuestions) {
        out += fmt::format("| `{}` | {} | {} |\n", question.id, when_text(question.when),
                           question.text);
    }
    out += "\n### Sections\n\n";
    std::string words;
    for (const SectionRow& row : kSections) {
        words += (words.empty() ? "" : ", ") + std::string(row.word);
    }
    out += words + ".\n\n### Roles\n\n| role | value |\n|---|---|\n";
    for (const RoleRow& row : kPartRoles) {
        const char* key = value_key(row.quantity);
        out += row.quantity == PartQuantity::kNone ? fmt::format("| {} | {} |\n", row.word, key)
                                                   : fmt::format("| {} | `{}` |\n", row.word, key);
    }
    return out;
}

} // namespace yokedock::record
