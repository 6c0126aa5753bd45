// SPDX-License-Identifier: MIT
// docs/power.md: words above the mark are written by hand, tables below it come from the tables of
// causes, states and limits.
#pragma once
#include "host/bench/energise.hpp"
#include <string>

inline const std::string kPowerPageMark = "<!-- below: made by the target power_page -->\n";

inline std::string power_page_tables() {
    std::string out =
        "\n## What a stop means\n\n| cause | what happened | what to do |\n|---|---|---|\n";
#define X(name, id, text, next_step) out += "| `" #name "` | " text " | " next_step " |\n";
    YOKEDOCK_STOP_CAUSES(X)
#undef X
    out += "\n## Limits\n\n| key in the profile's `limits` | needed to switch the supply | guards "
           "against |\n|---|---|---|\n";
#define X(member, needed, without)                                                                 \
    out += std::string("| `" #member "` | ") + (needed ? "yes" : "no") + " | " without " |\n";
    YOKEDOCK_POWER_LIMITS(X)
#undef X
    return out;
}

/// The page with its tables made anew; the mark must be in it.
inline std::string renewed_power_page(const std::string& page) {
    const auto mark = page.find(kPowerPageMark);
    return mark == std::string::npos
               ? std::string()
               : page.substr(0, mark + kPowerPageMark.size()) + power_page_tables();
}
