// SPDX-License-Identifier: MIT
// Walks a JSON document with a memory of where it is, so that every complaint names file, key and
// what was expected. The first complaint sticks: after it every getter returns a harmless default,
// and the caller looks at ReadContext::error once, at the end. With ReadContext::collect reading
// goes on, and all complaints are kept.
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
    std::string file;           ///< name for the messages
    std::string what;           ///< "record", "profile"
    std::optional<Error> error; ///< the first complaint
    bool collect = false;       ///< go on after a complaint
    struct Complaint {
        std::string path; ///< "parts[3].value_ohm"; "" the whole document
        std::string is;
        std::string expected;
    };
    std::vector<Complaint> complaints = {}; ///< all of them, with collect; at most kMostComplaints
    std::optional<Complaint> first = {};    ///< the one that `error` tells, of a place in the file
};

constexpr std::size_t kMostComplaints = 1000;

/// A place in the document. Cheap to copy; document and context must outlive it.
class Node {
  public:
    Node(const nlohmann::json& document, ReadContext& context);

    /// The member of this name; a complaint when this is no object or has no such member.
    [[nodiscard]] Node at(const char* key) const;
    /// The same, but nothing when the member is absent or null.
    [[nodiscard]] std::optional<Node> maybe(const char* key) const;
    /// The place where a member is missing: only for complaints.
    [[nodiscard]] Node absent(const char* key) const;
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
    /// The same, with the range in the caller's words; nothing after a complaint.
    [[nodiscard]] std::optional<double> number_or_complain(double lo, double hi,
                                                           const std::string& expected) const;
    /// The same for a text; nothing after a complaint.
    [[nodiscard]] std::optional<std::string> text_or_complain(const std::string& expected) const;
    [[nodiscard]] std::optional<bool> flag_or_complain(const std::string& expected) const;
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
    [[nodiscard]] bool failed() const {
        return mute_ || (!context_->collect && context_->error.has_value());
    }
    /// The value in a few words, for complaints.
    [[nodiscard]] std::string in_words() const;
    [[nodiscard]] bool is_object() const { return at_->is_object(); }
    [[nodiscard]] const std::string& path() const { return path_; }

  private:
    Node(const nlohmann::json* at, ReadContext* context, std::string path)
        : at_(at), context_(context), path_(std::move(path)) {}
    [[nodiscard]] std::int64_t checked_integer(std::int64_t lo, std::int64_t hi) const;
    [[nodiscard]] std::int64_t checked_element(std::size_t i, std::int64_t lo,
                                               std::int64_t hi) const;
    [[nodiscard]] std::size_t array_size(std::size_t most) const;
    [[nodiscard]] Node element(std::size_t i) const;
    [[nodiscard]] Node nothing(const std::string& path) const;

    const nlohmann::json* at_;
    ReadContext* context_;
    std::string path_;
    bool mute_ = false; ///< its absence was complained of already
};

/// Parses text; a complaint names file, line and column of the first thing that is no JSON.
[[nodiscard]] Result<nlohmann::json> parse_json(const std::string& text, const std::string& file,
                                                const std::string& what);

/// Reads the member "schema" and refuses one newer than `known`, naming both and the cure.
void check_schema(const Node& root, int known, ReadContext& context);

} // namespace yokedock::record
