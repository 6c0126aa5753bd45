// SPDX-License-Identifier: MIT
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock::link {

/// Bytes per word of a block kind; 0 for an unknown kind.
[[nodiscard]] constexpr size_t word_bytes(uint8_t block_kind) {
    switch (static_cast<wire::BlockKind>(block_kind)) {
    case wire::BlockKind::kSamples:
    case wire::BlockKind::kFieldEdges:
        return 4;
    case wire::BlockKind::kLineEdges:
        return 2;
    case wire::BlockKind::kFieldStarts:
        return wire::wire_size<wire::FieldStart>();
    }
    return 0;
}

} // namespace yokedock::link
