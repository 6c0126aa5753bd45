// SPDX-License-Identifier: MIT
#include "host/cli/cautions.hpp"
#include "host/report/text.hpp"

namespace yokedock::cli {

std::string caution_text() {
    constexpr std::size_t kWidth = 79;
    std::string out = "CAUTION\n";
#define X(text) out += report::paragraph("  * ", text, kWidth);
    YOKEDOCK_CAUTIONS(X)
#undef X
    return out;
}

std::string outside_caution() {
    return report::paragraph("  * ", YOKEDOCK_OUTSIDE_CAUTION, 79);
}

} // namespace yokedock::cli
