// SPDX-License-Identifier: MIT
#include "host/record/json_text.hpp"
#include <algorithm>
#include <nlohmann/json.hpp>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

std::string plain(const Json& value) {
    return value.dump(-1, ' ', false, Json::error_handler_t::replace);
}

bool is_flat(const Json& value) {
    return std::none_of(value.begin(), value.end(),
                        [](const Json& element) { return element.is_structured(); });
}

void append(std::string& out, const Json& value, std::size_t depth) {
    if (!value.is_structured() || value.empty() || (value.is_array() && is_flat(value))) {
        out += plain(value);
        return;
    }
    const std::string indent(2 * (depth + 1), ' ');
    out += value.is_array() ? '[' : '{';
    bool first = true;
    for (auto it = value.begin(); it != value.end(); ++it) {
        out += first ? "\n" : ",\n";
        first = false;
        out += indent;
        if (value.is_object()) {
            out += plain(Json(it.key())) + ": ";
        }
        append(out, *it, depth + 1);
    }
    out += '\n' + std::string(2 * depth, ' ') + (value.is_array() ? ']' : '}');
}

} // namespace

std::string json_text(const Json& value) {
    std::string out;
    append(out, value, 0);
    return out + '\n';
}

} // namespace yokedock::record
