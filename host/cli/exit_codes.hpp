// SPDX-License-Identifier: MIT
// The one table of exit codes. 130 is what a shell reports for a program that Ctrl-C ended (128 +
// SIGINT), so that a script goes no further with half a measurement. Help and docs/record.md are
// made from or tested against it.
#pragma once
#include "host/result.hpp"
#include <string>

namespace yokedock::cli {

/// X(name, code, text)
#define YOKEDOCK_EXIT_CODES(X)                                                                     \
    X(kGood, 0, "good")                                                                            \
    X(kVerdict, 1, "a verdict against the board")                                                  \
    X(kUsage, 2, "an option or its value is wrong")                                                \
    X(kNoBench, 3, "no bench, or its link was lost")                                               \
    X(kRefused, 4, "the bench refused or tripped")                                                 \
    X(kBadFile, 5, "a file is missing, broken, not what it should be, or cannot be written")       \
    X(kOurFault, 6, "our own fault: please report it")                                             \
    X(kCannotTell, 7, "it cannot be told: too little was measured, or not well enough")            \
    X(kStopped, 130, "you stopped it (Ctrl-C) before it was done; what it had by then is kept")

enum class ExitCode : int {
#define X(name, code, text) name = code,
    YOKEDOCK_EXIT_CODES(X)
#undef X
};

[[nodiscard]] ExitCode exit_code_of(ErrorKind kind);

/// "  0  good; ..." one line each, for the help.
[[nodiscard]] std::string exit_code_help();

} // namespace yokedock::cli
