// SPDX-License-Identifier: MIT
#pragma once
#include <string>

namespace yokedock::test {

/// docs/board_faults.md, from the fault table.
std::string fault_page();

} // namespace yokedock::test
