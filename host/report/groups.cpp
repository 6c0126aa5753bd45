// SPDX-License-Identifier: MIT
#include "host/report/groups.hpp"

namespace yokedock::report {

Group group_of(std::string_view name) {
    for (const char* word : {"rate", "lock", "jitter", "phase", "interlace", "slip", "edges",
                             "field_to_field", "line_to_line"}) {
        if (name.find(word) != std::string_view::npos) {
            return Group::kRates;
        }
    }
    if (name.substr(0, 2) == "v_") {
        return Group::kVertical;
    }
    if (name.substr(0, 2) == "h_") {
        return Group::kHorizontal;
    }
    return Group::kSupply;
}

} // namespace yokedock::report
