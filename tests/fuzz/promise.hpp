// SPDX-License-Identifier: MIT
#pragma once
#include <cstdio>
#include <cstdlib>

namespace yokedock::test {

/// Ends the fuzz target as a finding when the promise is broken.
inline void promise(bool kept, const char* text) {
    if (!kept) {
        std::fprintf(stderr, "broken promise: %s\n", text);
        std::abort();
    }
}

} // namespace yokedock::test
