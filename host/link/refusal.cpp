// SPDX-License-Identifier: MIT
#include "host/link/refusal.hpp"
#include <fmt/format.h>

namespace yokedock::link {

std::string message_name(wire::MessageKind kind) {
    switch (kind) {
#define X(name, id, request, answer, text)                                                         \
    case wire::MessageKind::name:                                                                  \
        return #name;
        YOKEDOCK_REQUESTS(X)
#undef X
#define X(name, id, head, text)                                                                    \
    case wire::MessageKind::name:                                                                  \
        return #name;
        YOKEDOCK_DEVICE_FRAMES(X)
#undef X
    }
    return fmt::format("message 0x{:02X}", static_cast<unsigned>(kind));
}

std::string state_text(wire::BenchState state) {
    switch (state) {
#define X(name, id, text)                                                                          \
    case wire::BenchState::name:                                                                   \
        return text;
        YOKEDOCK_BENCH_STATES(X)
#undef X
    }
    return fmt::format("unknown state {}", static_cast<unsigned>(state));
}

std::string stop_cause_text(wire::StopCause cause) {
    switch (cause) {
#define X(name, id, text, next_step)                                                               \
    case wire::StopCause::name:                                                                    \
        return text;
        YOKEDOCK_STOP_CAUSES(X)
#undef X
    }
    return fmt::format("unknown cause {}", static_cast<unsigned>(cause));
}

std::string stop_cause_name(wire::StopCause cause) {
    switch (cause) {
#define X(name, id, text, next_step)                                                               \
    case wire::StopCause::name:                                                                    \
        return #name;
        YOKEDOCK_STOP_CAUSES(X)
#undef X
    }
    return fmt::format("unknown_{}", static_cast<unsigned>(cause));
}

std::string next_step_text(wire::StopCause cause) {
    switch (cause) {
#define X(name, id, text, next_step)                                                               \
    case wire::StopCause::name:                                                                    \
        return next_step;
        YOKEDOCK_STOP_CAUSES(X)
#undef X
    }
    return "flash the firmware that belongs to this yokedock";
}

std::string step_state_text(wire::StepState state) {
    switch (state) {
#define X(name, id, text)                                                                          \
    case wire::StepState::name:                                                                    \
        return text;
        YOKEDOCK_STEP_STATES(X)
#undef X
    }
    return fmt::format("unknown state {}", static_cast<unsigned>(state));
}

std::string reset_cause_text(wire::ResetCause cause) {
    switch (cause) {
#define X(name, id, text)                                                                          \
    case wire::ResetCause::name:                                                                   \
        return text;
        YOKEDOCK_RESET_CAUSES(X)
#undef X
    }
    return fmt::format("unknown cause {}", static_cast<unsigned>(cause));
}

template <> FieldText find_field(const wire::CaptureSettings& request, std::uint32_t index) {
    detail::FieldFinder finder{index, 0, {}};
    wire::CaptureSettings copy = request;
    copy.visit(finder);
    // The head's fields, then the entries' in turn.
    detail::FieldFinder entry_fields{~0u, 0, {}};
    wire::ScheduleEntry{}.visit(entry_fields);
    detail::FieldFinder all_fields{~0u, 0, {}};
    copy.visit(all_fields);
    const std::uint32_t head = all_fields.at - wire::kMaxSchedule * entry_fields.at;
    if (index >= head && index < all_fields.at) {
        finder.found.name += fmt::format(" of schedule entry {}", (index - head) / entry_fields.at);
    }
    return finder.found;
}

namespace {

std::string reason_text(wire::RefusalReason reason) {
    switch (reason) {
#define X(name, id, detail, text)                                                                  \
    case wire::RefusalReason::name:                                                                \
        return text;
        YOKEDOCK_REFUSALS(X)
#undef X
    }
    return fmt::format("unknown reason {}", static_cast<unsigned>(reason));
}

/// Value received, what was expected and what to do, per reason.
std::string advice(const wire::RefusedAnswer& refused, const FieldText& field) {
    switch (static_cast<wire::RefusalReason>(refused.reason)) {
    case wire::RefusalReason::bad_value:
        if (field.name.empty()) {
            return fmt::format("field number {}; expected a value the bench can do; change it",
                               refused.detail);
        }
        return fmt::format("{} = {}; expected what the bench can do ({}); change that value",
                           field.name, field.value, field.text);
    case wire::RefusalReason::wrong_state:
        return fmt::format(
            "the state is \"{}\"; expected another one; look at the bench's status first",
            state_text(static_cast<wire::BenchState>(refused.detail)));
    case wire::RefusalReason::not_fitted:
        return "expected a bench that has it; work without it, or fit the bench with firmware and "
               "parts "
               "for it";
    case wire::RefusalReason::bad_size:
        return fmt::format(
            "it received {} payload bytes; expected the size in its own message table; flash "
            "the firmware that belongs to this yokedock",
            refused.detail);
    case wire::RefusalReason::unknown_request:
        return "expected firmware that knows it; flash the firmware that belongs to this yokedock";
    case wire::RefusalReason::not_ready: {
        const auto cause = static_cast<wire::StopCause>(refused.detail);
        return fmt::format("{}; expected nothing of the kind; {}", stop_cause_text(cause),
                           next_step_text(cause));
    }
    case wire::RefusalReason::storing:
        return fmt::format("{} bytes are left; expected none; wait until store_state says 0",
                           refused.detail);
    case wire::RefusalReason::version:
        break; // version_error
    }
    return fmt::format(
        "detail {}; expected a reason from the message table; flash the firmware that belongs "
        "to this yokedock",
        refused.detail);
}

} // namespace

Error version_error(std::uint32_t device_version) {
    return {
        ErrorKind::kRefused,
        fmt::format(
            "cannot talk to this bench: its firmware speaks protocol version {}, this yokedock "
            "speaks version {}; expected the same on both sides; {}",
            device_version, wire::kProtocolVersion,
            device_version < wire::kProtocolVersion
                ? "flash the firmware that came with this yokedock"
                : "install the yokedock that came with that firmware, or flash the firmware that "
                  "came with this one")};
}

Error refusal_error(const wire::RefusedAnswer& refused, const FieldText& field) {
    if (refused.reason == static_cast<std::uint8_t>(wire::RefusalReason::version)) {
        return version_error(refused.detail);
    }
    return {ErrorKind::kRefused,
            fmt::format("the bench refused {}: {}: {}",
                        message_name(static_cast<wire::MessageKind>(refused.request)),
                        reason_text(static_cast<wire::RefusalReason>(refused.reason)),
                        advice(refused, field))};
}

} // namespace yokedock::link
