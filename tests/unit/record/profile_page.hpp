// SPDX-License-Identifier: MIT
// docs/profile.md: words above the mark are written by hand, tables below it come from the key
// table.
#pragma once
#include "host/record/profile_keys.hpp"
#include <string>

inline const std::string kProfilePageMark = "<!-- below: made by the target profile_page -->\n";

/// The page with its tables made anew; the mark must be in it.
inline std::string renewed_profile_page(const std::string& page) {
    const auto mark = page.find(kProfilePageMark);
    return mark == std::string::npos ? std::string()
                                     : page.substr(0, mark + kProfilePageMark.size()) +
                                           yokedock::record::profile_page_tables();
}
