// SPDX-License-Identifier: MIT
// Wire messages as JSON objects: names come from the message table, so a record's keys are the
// protocol's names.
#pragma once
#include "host/record/json_reader.hpp"
#include "shared/wire/fields.hpp"

namespace yokedock::record {

struct JsonWriteVisitor {
    nlohmann::ordered_json out = nlohmann::ordered_json::object();
    template <class Value> void field(const char* name, const char*, const Value& value) {
        out[name] = value;
    }
};

struct JsonReadVisitor {
    const Node& node;
    template <class Value> void field(const char* name, const char*, Value& value) {
        value = node.at(name).integer<Value>(0, std::numeric_limits<Value>::max());
    }
};

/// For messages whose field names are unique.
template <class Message> [[nodiscard]] nlohmann::ordered_json message_to_json(Message message) {
    JsonWriteVisitor visitor;
    message.visit(visitor);
    return visitor.out;
}

template <class Message> [[nodiscard]] Message message_from_json(const Node& node) {
    Message message{};
    JsonReadVisitor visitor{node};
    message.visit(visitor);
    return message;
}

} // namespace yokedock::record
