// SPDX-License-Identifier: MIT
// The commands under `yokedock profile`; one file each.
#pragma once
#include "host/cli/command.hpp"

namespace yokedock::cli {

void set_up_profile_check(CLI::App& profile, Chosen& chosen);
void set_up_profile_new(CLI::App& profile, Chosen& chosen);
void set_up_profile_from(CLI::App& profile, Chosen& chosen);
void set_up_profile_show(CLI::App& profile, Chosen& chosen);

} // namespace yokedock::cli
