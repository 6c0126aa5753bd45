// SPDX-License-Identifier: MIT
// The commands under `yokedock profile`; one file each.
#pragma once
#include "host/cli/command.hpp"

namespace yokedock::cli {

void set_up_profile_check(Parser& profile, Chosen& chosen);
void set_up_profile_new(Parser& profile, Chosen& chosen);
void set_up_profile_from(Parser& profile, Chosen& chosen);
void set_up_profile_show(Parser& profile, Chosen& chosen);

} // namespace yokedock::cli
