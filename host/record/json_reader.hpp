// SPDX-License-Identifier: MIT
// Walks a JSON document with a memory of where it is, so that every complaint names file, key and
// what was expected. The first complaint sticks: after it every getter returns a harmless default,
// and the caller looks at ReadContext::error once, at the end.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

struct ReadContext {
    std::string file; ///< name for the messages
    std::string what; ///< "record", "profile"
    std::optional<Error> error;
};

/// A place in the document. Cheap to copy; document and context must outlive it.
class Node {
  public:
    Node(const nlohmann::json& document, ReadContext& context);

    /// The member of this name; a complaint when this is no object or has no such member.
    [[nodiscard]] Node at(const char* key) const;
    /// The same, but nothing when the member is absent or null.
    [[nodiscard]] std::optional<Node> maybe(const char* key) const;
    /// The elements of an array; a complaint when it is none or has more than most.
    [[nodiscard]] std::vector<Node> elements(std::size_t most) const;
    /// The members of an object, with their names; a complaint when it is none or has more than
    /// most.
    [[nodiscard]] std::vector<std::pair<std::string, Node>> members(std::size_t most) const;
    /// Complains when this is no object, or about a member whose name is not listed (a misspelt key
    /// must not be silently ignored).
    void allow_only(std::initializer_list<const char*> keys) const;

    [[nodiscard]] std::string text() const;
    [[nodiscard]] bool boolean() const;
    /// A finite number from lo to hi.
    [[nodiscard]] double number(double lo = std::numeric_limits<double>::lowest(),
                                double hi = std::numeric_limits<double>::max()) const;
    /// A finite number, or NaN where the file says null.
    [[nodiscard]] double number_or_null() const;
    [[nodiscard]] std::vector<double> numbers(std::size_t most) const;

    template <class Int> [[nodiscard]] Int integer(Int lo, Int hi) const {
        return static_cast<Int>(
            checked_integer(static_cast<std::int64_t>(lo), static_cast<std::int64_t>(hi)));
    }
    template <class Int>
    [[nodiscard]] std::vector<Int> integers(Int lo, Int hi, std::size_t most) const {
        std::vector<Int> out;
        const std::size_t size = array_size(most);
        out.reserve(size);
        for (std::size_t i = 0; i < size; ++i) {
            out.push_back(static_cast<Int>(
                checked_element(i, static_cast<std::int64_t>(lo), static_cast<std::int64_t>(hi))));
        }
        return out;
    }

    /// Records a complaint: this place `is` one thing and another was expected.
    void complain(const std::string& is, const std::string& expected) const;
    [[nodiscard]] bool failed() const { return context_->error.has_value(); }

  private:
    Node(const nlohmann::json* at, ReadContext* context, std::string path)
        : at_(at), context_(context), path_(std::move(path)) {}
    [[nodiscard]] std::int64_t checked_integer(std::int64_t lo, std::int64_t hi) const;
    [[nodiscard]] std::int64_t checked_element(std::size_t i, std::int64_t lo,
                                               std::int64_t hi) const;
    [[nodiscard]] std::size_t array_size(std::size_t most) const;
    [[nodiscard]] Node element(std::size_t i) const;

    const nlohmann::json* at_;
    ReadContext* context_;
    std::string path_;
};

/// Parses text; a complaint names file, line and column of the first thing that is no JSON.
[[nodiscard]] Result<nlohmann::json> parse_json(const std::string& text, const std::string& file,
                                                const std::string& what);

/// Reads the member "schema" and refuses one newer than `known`, naming both and the cure.
void check_schema(const Node& root, int known, ReadContext& context);

} // namespace yokedock::record
