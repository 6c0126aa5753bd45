// SPDX-License-Identifier: MIT
#pragma once
#include <string>

namespace yokedock::test {

/// docs/protocol.md, from the message table.
std::string protocol_page();

} // namespace yokedock::test
