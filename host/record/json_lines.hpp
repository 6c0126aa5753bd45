// SPDX-License-Identifier: MIT
// Where in a JSON text each value stands: the JSON library tells no positions once it has parsed.
#pragma once
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace yokedock::record {

struct JsonLines {
    /// Path as Node writes it ("parts[3].value_ohm"; "" the whole document) to the line of its key,
    /// or of the value itself in an array. Lines count from 1. Of a key given twice, the last.
    std::unordered_map<std::string, int> line_of;
    struct Repeated {
        std::string path;
        int line; ///< of the second one
    };
    std::vector<Repeated> repeated; ///< keys that stand twice in one object: the library keeps one

    /// Line of the path, or of the innermost structure it would stand in.
    [[nodiscard]] int line(const std::string& path) const;
};

/// For a text that parse_json() accepts; of any other text as far as it makes sense. Takes time and
/// room in proportion to the text; does not recurse.
[[nodiscard]] JsonLines find_json_lines(std::string_view text);

} // namespace yokedock::record
