// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/fault_list.hpp"
#include <fmt/format.h>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <set>

namespace yokedock::sim {

namespace {

using Json = nlohmann::json;

Error file_error(const std::string& where, const std::string& text) {
    return {ErrorKind::kFile, fmt::format("board file {}: {}", where, text)};
}

Result<std::string> read_text(const std::filesystem::path& path) {
    std::error_code error;
    if (std::filesystem::exists(path, error) && !std::filesystem::is_regular_file(path, error)) {
        return file_error(path.string(), "is not a plain file; expected a board file"); // no end
    }
    std::ifstream in(path, std::ios::binary);
    if (!in) {
        return file_error(path.string(), "cannot be opened; check the path");
    }
    const std::uintmax_t size = std::filesystem::file_size(path, error);
    if (error || size > kMaxBoardFileBytes) {
        return file_error(path.string(), fmt::format("has {} bytes; expected a board file of at "
                                                     "most {}",
                                                     size, kMaxBoardFileBytes));
    }
    return std::string(std::istreambuf_iterator<char>(in), {});
}

/// null when there is none. Not a copy: copying, like dump(), goes down by recursion, and how deep
/// a value is nested is the file's choice.
const Json& member(const Json& object, const char* key) {
    static const Json kNone;
    const auto found = object.find(key);
    return found == object.end() ? kNone : *found;
}

/// Sets what the file's "parameters" say; collects the paths seen.
Status read_parameters(const Json& blocks, const std::string& where, BoardParameters& board,
                       std::set<std::string>& seen) {
    for (const auto& [block, values] : blocks.items()) {
        if (!values.is_object()) {
            return file_error(where,
                              fmt::format("parameters.{} is {}; expected an object of values",
                                          block, brief(values)));
        }
        for (const auto& [name, value] : values.items()) {
            const std::string path = fmt::format("{}.{}", block, name);
            if (!value.is_number()) {
                return file_error(where,
                                  fmt::format("{} is {}; expected a number", path, brief(value)));
            }
            const Status set = set_parameter(board, path, value.get<double>());
            if (!set) {
                return file_error(where, set.error().text);
            }
            seen.insert(path);
        }
    }
    return Done{};
}

Result<BoardFile> parse(const std::string& json_text, const std::string& where,
                        const std::filesystem::path& folder, bool base_allowed) {
    const Json root = Json::parse(json_text, nullptr, false);
    if (root.is_discarded() || !root.is_object()) {
        return file_error(where, "is not a JSON object; expected a board file as in demo/boards");
    }
    static const std::set<std::string> kKeys = {"schema", "kind",       "name",  "text",
                                                "base",   "parameters", "faults"};
    for (const auto& [key, value] : root.items()) {
        if (kKeys.count(key) == 0) {
            return file_error(
                where, fmt::format("has the unknown key \"{}\"; expected schema, kind, name, "
                                   "text, base, parameters and faults",
                                   key));
        }
    }
    const Json& kind = member(root, "kind");
    const Json& schema = member(root, "schema");
    if (kind != Json("yokedock-board") || schema != Json(kBoardFileSchema)) {
        return file_error(
            where, fmt::format("kind is {} and schema is {}; expected \"yokedock-board\" and {}",
                               brief(kind), brief(schema), kBoardFileSchema));
    }
    for (const char* key : {"name", "text"}) {
        if (!root.contains(key) || !root[key].is_string()) {
            return file_error(where, fmt::format("\"{}\" is missing or not a text", key));
        }
    }
    if (!root.contains("parameters") || !root["parameters"].is_object()) {
        return file_error(where, "\"parameters\" is missing or not an object");
    }
    BoardFile file;
    const bool has_base = root.contains("base");
    if (has_base) {
        if (!base_allowed || !root["base"].is_string()) {
            return file_error(where,
                              fmt::format("base is {}; expected the name of a complete board file",
                                          brief(root["base"])));
        }
        const std::filesystem::path base_path = folder / root["base"].get<std::string>();
        const Result<std::string> text = read_text(base_path);
        if (!text) {
            return text.error();
        }
        Result<BoardFile> base = parse(text.value(), base_path.string(), folder, false);
        if (!base) {
            return base.error();
        }
        file = base.value();
    }
    file.name = root["name"].get<std::string>();
    file.text = root["text"].get<std::string>();
    std::set<std::string> seen;
    const Status read = read_parameters(root["parameters"], where, file.parameters, seen);
    if (!read) {
        return read.error();
    }
    if (root.contains("faults") && !base_allowed) {
        return file_error(where, "has faults; expected a base board without; put them into the "
                                 "file that names it");
    }
    for (const ParameterInfo& info : parameter_table()) {
        if (!has_base && seen.count(std::string(info.path)) == 0) {
            return file_error(where, fmt::format("{} is missing; expected a value in {} ({})",
                                                 info.path, info.unit, info.text));
        }
    }
    const Status fitted = fit_listed_faults(member(root, "faults"), file);
    if (!fitted) {
        return file_error(where, fitted.error().text);
    }
    return file;
}

} // namespace

Result<BoardFile> parse_board(const std::string& json_text, const std::string& where,
                              const std::filesystem::path& folder) {
    return parse(json_text, where, folder, true);
}

Result<BoardFile> load_board(const std::filesystem::path& path) {
    const Result<std::string> text = read_text(path);
    if (!text) {
        return text.error();
    }
    return parse(text.value(), path.string(), path.parent_path(), true);
}

Status apply_settings(BoardParameters& board, const std::vector<std::string>& settings) {
    for (const std::string& setting : settings) {
        const Status done = apply_setting(board, setting);
        if (!done) {
            return done;
        }
    }
    return Done{};
}

} // namespace yokedock::sim
