// SPDX-License-Identifier: MIT
// One object of a profile, read by the rows of the key table. Unknown and missing keys are
// complained of once, when it is made.
#pragma once
#include "host/record/json_reader.hpp"
#include "host/record/profile_keys.hpp"

namespace yokedock::record {

class KeyedObject {
  public:
    /// object: name in the key table. schema: the file's; newer keys are complained of.
    KeyedObject(Node node, const char* object, int schema);

    /// Nothing when the key is absent or was complained of. The key must be in the table.
    [[nodiscard]] std::optional<double> number(const char* key) const;
    [[nodiscard]] std::optional<std::string> text(const char* key) const;
    [[nodiscard]] std::optional<bool> flag(const char* key) const;
    /// An object or an array; complained of when it is none.
    [[nodiscard]] std::optional<Node> child(const char* key) const;
    /// The elements of an array; none when it is absent.
    [[nodiscard]] std::vector<Node> list(const char* key, std::size_t most) const;
    /// For complaints about a key that is there, or about the object when it is not.
    [[nodiscard]] Node place(const char* key) const;

    [[nodiscard]] int schema() const { return schema_; }

  private:
    void complain_of_unknown(const std::string& key, const Node& value) const;

    Node node_;
    const char* object_;
    int schema_;
};

/// A text printable in one line: 1 to 200 characters, none of them a control character.
[[nodiscard]] std::optional<std::string> short_text(const Node& node, const std::string& what);

} // namespace yokedock::record
