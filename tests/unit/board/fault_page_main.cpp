// SPDX-License-Identifier: MIT
// Prints docs/board_faults.md: build the target fault_page to write it.
#include "tests/unit/board/fault_page.hpp"
#include <iostream>

int main() {
    std::cout << yokedock::test::fault_page();
}
