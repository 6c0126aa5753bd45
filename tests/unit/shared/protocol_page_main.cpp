// SPDX-License-Identifier: MIT
// Prints docs/protocol.md: build the target protocol_page to write it.
#include "tests/unit/shared/protocol_page.hpp"
#include <iostream>

int main() {
    std::cout << yokedock::test::protocol_page();
}
