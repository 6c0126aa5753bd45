// SPDX-License-Identifier: MIT
// Names and texts of the message table for a person.
#pragma once
#include "host/result.hpp"
#include "shared/wire/messages.hpp"
#include <string>

namespace yokedock::link {

/// "set_sync" for MessageKind::set_sync; "message 0x33" for one the table does not have.
[[nodiscard]] std::string message_name(wire::MessageKind kind);

[[nodiscard]] std::string state_text(wire::BenchState state);
[[nodiscard]] std::string stop_cause_text(wire::StopCause cause);
[[nodiscard]] std::string stop_cause_name(wire::StopCause cause);
/// What to do about it, for a person.
[[nodiscard]] std::string next_step_text(wire::StopCause cause);
[[nodiscard]] std::string step_state_text(wire::StepState state);
[[nodiscard]] std::string reset_cause_text(wire::ResetCause cause);

/// A field of a request, by its index in visit order. Empty name: there is no such field.
struct FieldText {
    std::string name; ///< "half_lines"; "channel of schedule entry 2", "high of channel 3"
    std::string text; ///< the table's description
    std::uint32_t value = 0;
};

namespace detail {
struct FieldFinder {
    std::uint32_t wanted;
    std::uint32_t at = 0;
    FieldText found{};
    std::string last{};
    std::uint32_t repeats = 0; ///< of the last name, in a row
    std::uint32_t channel = 0; ///< of the field found, where it is one of a row
    bool in_row = false;
    template <class T> void field(const char* name, const char* text, const T& value) {
        repeats = last == name ? repeats + 1 : 0;
        last = name;
        if (at == wanted) {
            found = {name, text, value};
            channel = repeats;
        }
        // One of a row: it has one of the same name before it, or right behind it.
        in_row = in_row || (at == wanted && repeats > 0) || (at == wanted + 1 && repeats > 0);
        ++at;
    }
};
} // namespace detail

template <class Request>
[[nodiscard]] FieldText find_field(const Request& request, std::uint32_t index) {
    detail::FieldFinder finder{index, 0, {}};
    Request copy = request; // visit() is one function for reading and writing, hence not const
    copy.visit(finder);
    if (finder.in_row) {
        finder.found.name += " of channel " + std::to_string(finder.channel);
    }
    return finder.found;
}
template <>
[[nodiscard]] FieldText find_field(const wire::CaptureSettings& request, std::uint32_t index);

/// The error for a `refused` answer: which request, the table's reason, the offending field with
/// the value that was sent (from find_field when the reason is bad_value), and what to do.
[[nodiscard]] Error refusal_error(const wire::RefusedAnswer& refused, const FieldText& field);

/// The error for two protocol versions that do not agree.
[[nodiscard]] Error version_error(std::uint32_t device_version);

} // namespace yokedock::link
