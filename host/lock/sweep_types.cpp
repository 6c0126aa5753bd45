// SPDX-License-Identifier: MIT
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

const char* word(BoardState state) {
    switch (state) {
#define X(name, word)                                                                              \
    case BoardState::name:                                                                         \
        return word;
        YOKEDOCK_LOCK_STATES(X)
#undef X
    }
    return "undecided";
}

std::optional<BoardState> board_state(const std::string& wanted) {
#define X(name, word)                                                                              \
    if (wanted == word) {                                                                          \
        return BoardState::name;                                                                   \
    }
    YOKEDOCK_LOCK_STATES(X)
#undef X
    return std::nullopt;
}

const char* word(SweepPart part) {
    switch (part) {
#define X(name, word, text)                                                                        \
    case SweepPart::name:                                                                          \
        return word;
        YOKEDOCK_SWEEP_PARTS(X)
#undef X
    }
    return "";
}

const char* text(SweepPart part) {
    switch (part) {
#define X(name, word, text)                                                                        \
    case SweepPart::name:                                                                          \
        return text;
        YOKEDOCK_SWEEP_PARTS(X)
#undef X
    }
    return "";
}

std::optional<SweepPart> sweep_part(const std::string& wanted) {
#define X(name, word, text)                                                                        \
    if (wanted == word) {                                                                          \
        return SweepPart::name;                                                                    \
    }
    YOKEDOCK_SWEEP_PARTS(X)
#undef X
    return std::nullopt;
}

} // namespace yokedock::lock
