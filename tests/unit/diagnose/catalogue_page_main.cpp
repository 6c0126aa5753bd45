// SPDX-License-Identifier: MIT
// Prints docs/catalogue.md: build the target catalogue_page to write it.
#include "host/record/catalogue_file.hpp"
#include "tests/unit/diagnose/catalogue_page.hpp"
#include <iostream>

int main() {
    const auto catalogue = yokedock::record::built_in_catalogue();
    if (!catalogue) {
        std::cerr << catalogue.error().text << '\n';
        return 5;
    }
    std::cout << yokedock::test::catalogue_page(catalogue.value());
}
