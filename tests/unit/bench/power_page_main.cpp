// SPDX-License-Identifier: MIT
// Makes the tables of docs/power.md anew, in place: build the target power_page to run it.
#include "tests/unit/bench/power_page.hpp"
#include <cstdio>
#include <fstream>
#include <sstream>

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fputs("expected one argument: the page\n", stderr);
        return 2;
    }
    std::ostringstream old;
    old << std::ifstream(argv[1]).rdbuf();
    const std::string page = renewed_power_page(old.str());
    if (page.empty()) {
        std::fputs("the page has no mark to write below\n", stderr);
        return 1;
    }
    std::ofstream(argv[1]) << page;
    return 0;
}
