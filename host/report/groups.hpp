// SPDX-License-Identifier: MIT
#pragma once
#include <array>
#include <string>
#include <string_view>

namespace yokedock::report {

enum class Group { kRates, kVertical, kHorizontal, kSupply };

struct GroupText {
    Group group;
    const char* title;
};

/// In the order of the table.
constexpr std::array<GroupText, 4> kGroups{{{Group::kRates, "Rates and lock"},
                                            {Group::kVertical, "Vertical"},
                                            {Group::kHorizontal, "Horizontal"},
                                            {Group::kSupply, "Supply and bench"}}};

/// From the figure's name: rates, lock and edges first, then by the axis it begins with.
[[nodiscard]] Group group_of(std::string_view figure_name);

} // namespace yokedock::report
