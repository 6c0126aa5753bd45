// SPDX-License-Identifier: MIT
#include "host/cli/exit_codes.hpp"

namespace yokedock::cli {

ExitCode exit_code_of(ErrorKind kind) {
    switch (kind) {
    case ErrorKind::kUsage:
        return ExitCode::kUsage;
    case ErrorKind::kLink:
        return ExitCode::kNoBench;
    case ErrorKind::kRefused:
        return ExitCode::kRefused;
    case ErrorKind::kFile:
        return ExitCode::kBadFile;
    case ErrorKind::kStopped:
        return ExitCode::kStopped;
    case ErrorKind::kInternal:
        break;
    }
    return ExitCode::kOurFault;
}

std::string exit_code_help() {
    std::string out;
#define X(name, code, text) out += "  " #code "  " text "\n";
    YOKEDOCK_EXIT_CODES(X)
#undef X
    return out;
}

} // namespace yokedock::cli
