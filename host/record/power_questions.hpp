// SPDX-License-Identifier: MIT
// What is asked before a board is first powered after work. One table for the terminal, --confirm,
// the record and the page.
#pragma once
#include "host/record/profile.hpp"

namespace yokedock::record {

/// X(id, asked when, kind of answer, text). kYes: anything but yes keeps the supply off. kWords:
/// kept in the record as it is.
#define YOKEDOCK_POWER_QUESTIONS(X)                                                                \
    X("parts_changed", kAlways, kWords,                                                            \
      "Which parts were changed since the board last ran (designators, or none)?")                 \
    X("pin_one", kAlways, kYes,                                                                    \
      "Is pin 1 of every replaced IC at the marked end, checked against the board, not the old "   \
      "part?")                                                                                     \
    X("polarity", kAlways, kYes,                                                                   \
      "Are the marked ends of all replaced electrolytics and diodes where the board wants them?")  \
    X("no_bridges", kAlways, kYes,                                                                 \
      "Has the work been looked over for solder bridges, wire ends and forgotten tools?")          \
    X("isolation_transformer", kLive, kYes,                                                        \
      "Is the board fed through an isolation transformer, and its isolation from the bench "       \
      "proven with a meter?")                                                                      \
    X("tube_discharged", kHighVoltage, kYes,                                                       \
      "Is the tube off the board, or its anode discharged?")                                       \
    X("anode_lead", kHighVoltage, kYes,                                                            \
      "Is the anode lead insulated and out of reach of hands and bench?")

enum class AskedWhen {
    kAlways,
    kLive,        ///< live to mains, or not stated
    kHighVoltage, ///< own line output transformer, or not stated
};

enum class AnswerKind { kYes, kWords };

struct BuiltInQuestion {
    const char* id;
    AskedWhen when;
    AnswerKind kind;
    const char* text;
};

constexpr BuiltInQuestion kPowerQuestions[] = {
#define X(id, when, kind, text) {id, AskedWhen::when, AnswerKind::kind, text},
    YOKEDOCK_POWER_QUESTIONS(X)
#undef X
};

struct PowerQuestion {
    std::string id;
    AnswerKind kind;
    std::string text;
};

/// Whether it is asked although nothing was changed on the board: it is about hands, not about
/// work. The profile's own are about work.
[[nodiscard]] bool is_safety(const std::string& id);

/// Those that apply to this board type, the profile's own last. Pure.
[[nodiscard]] std::vector<PowerQuestion> power_questions(const Profile& profile);

} // namespace yokedock::record
