// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/fault_list.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <initializer_list>
#include <nlohmann/json.hpp>

namespace yokedock::sim {

namespace {

using Json = nlohmann::json;

constexpr std::size_t kMostFaults = 20; ///< more on one board is a mistake in the file

Error bad(const std::string& what, const Json& value, std::string_view expected) {
    return {ErrorKind::kUsage, fmt::format("{} is {}; expected {}", what, brief(value), expected)};
}

Status check_keys(const Json& object, const std::string& what,
                  std::initializer_list<std::string_view> keys) {
    for (const auto& [key, value] : object.items()) {
        if (std::find(keys.begin(), keys.end(), std::string_view(key)) == keys.end()) {
            return Error{ErrorKind::kUsage,
                         fmt::format("{} has the unknown key \"{}\"; expected {}", what,
                                     key.substr(0, 40), fmt::join(keys, ", "))};
        }
    }
    return Done{};
}

/// A number from low to high at `key`; `otherwise` when the key is absent.
Result<double> number(const Json& object, const std::string& what, const char* key, double low,
                      double high, std::optional<double> otherwise = std::nullopt) {
    const auto found = object.find(key);
    const std::string expected = fmt::format("a number from {} to {}", low, high);
    const std::string path = fmt::format("{}.{}", what, key);
    if (found == object.end()) {
        if (otherwise) {
            return *otherwise;
        }
        return Error{ErrorKind::kUsage, fmt::format("{} is missing; expected {}", path, expected)};
    }
    if (!found->is_number()) {
        return bad(path, *found, expected);
    }
    const auto value = found->get<double>();
    return value >= low && value <= high ? Result<double>(value) : bad(path, *found, expected);
}

constexpr double kLeastS = 1e-3;
constexpr double kMostS = 1e6;

Status read_intermittent(const Json& entry, const std::string& what, FaultUse& use) {
    const auto found = entry.find("intermittent");
    if (found == entry.end()) {
        return Done{};
    }
    const std::string path = what + ".intermittent";
    if (!found->is_object()) {
        return bad(path, *found, "an object with on_s, off_s and perhaps seed");
    }
    if (const Status keys = check_keys(*found, path, {"on_s", "off_s", "seed"}); !keys) {
        return keys;
    }
    const auto on_s = number(*found, path, "on_s", kLeastS, kMostS);
    const auto off_s = number(*found, path, "off_s", kLeastS, kMostS);
    const auto seed = number(*found, path, "seed", 0, 4294967295.0, 1);
    for (const auto* each : {&on_s, &off_s, &seed}) {
        if (!*each) {
            return each->error();
        }
    }
    if (seed.value() != std::floor(seed.value())) {
        return bad(path + ".seed", (*found)["seed"], "a whole number");
    }
    use.intermittent = {on_s.value(), off_s.value(), static_cast<std::uint32_t>(seed.value())};
    return Done{};
}

Status read_heat(const Json& entry, const std::string& what, FaultUse& use) {
    const auto found = entry.find("heat");
    if (found == entry.end()) {
        return Done{};
    }
    const std::string path = what + ".heat";
    if (!found->is_object()) {
        return bad(path, *found, "an object with from_c and to_c");
    }
    if (const Status keys = check_keys(*found, path, {"from_c", "to_c"}); !keys) {
        return keys;
    }
    const auto from_c = number(*found, path, "from_c", -40, 200);
    const auto to_c = number(*found, path, "to_c", -40, 200);
    for (const auto* each : {&from_c, &to_c}) {
        if (!*each) {
            return each->error();
        }
    }
    if (std::fabs(from_c.value() - to_c.value()) < 0.1) {
        return bad(path + ".to_c", (*found)["to_c"], "another temperature than from_c");
    }
    use.heat = FaultHeat{from_c.value(), to_c.value()};
    return Done{};
}

Status fit_entry(const Json& entry, const std::string& what, FaultyBoard& board) {
    if (!entry.is_object()) {
        return bad(what, entry, "an object with fault and severity");
    }
    if (const Status keys = check_keys(entry, what, {"fault", "severity", "intermittent", "heat"});
        !keys) {
        return keys;
    }
    const auto id = entry.find("fault");
    if (id == entry.end() || !id->is_string()) {
        return bad(what + ".fault", id == entry.end() ? Json() : *id, "the name of a fault");
    }
    const auto severity = number(entry, what, "severity", 0, 1, 1);
    if (!severity) {
        return severity.error();
    }
    Result<FaultUse> use = use_fault(id->get_ref<const std::string&>(), severity.value());
    if (!use) {
        return Error{ErrorKind::kUsage, fmt::format("{}.fault: {}", what, use.error().text)};
    }
    if (const Status read = read_intermittent(entry, what, use.value()); !read) {
        return read;
    }
    if (const Status read = read_heat(entry, what, use.value()); !read) {
        return read;
    }
    return fit_fault(board, use.value());
}

} // namespace

std::string brief(const Json& value) {
    if (value.is_object()) {
        return "an object";
    }
    if (value.is_array()) {
        return fmt::format("an array of {}", value.size());
    }
    const std::string text = value.dump(-1, ' ', true); // ASCII, so that a cut splits no character
    return text.size() > 40 ? text.substr(0, 37) + "..." : text;
}

Status fit_listed_faults(const Json& list, FaultyBoard& board) {
    if (list.is_null()) {
        return Done{};
    }
    if (!list.is_array() || list.size() > kMostFaults) {
        return bad("faults", list, fmt::format("an array of at most {} faults", kMostFaults));
    }
    for (std::size_t k = 0; k < list.size(); ++k) {
        if (const Status fitted = fit_entry(list[k], fmt::format("faults[{}]", k), board);
            !fitted) {
            return fitted;
        }
    }
    return Done{};
}

} // namespace yokedock::sim
