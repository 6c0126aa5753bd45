// SPDX-License-Identifier: MIT
#include "host/cli/profile.hpp"

namespace yokedock::cli {

void set_up_profile(Parser& app, Chosen& chosen) {
    Parser profile = app.add_command(
        "profile", "Make, check and show profiles: what a board type should do and may not exceed",
        kGroupFiles, nullptr);
    profile.require_command();
    set_up_profile_new(profile, chosen);
    set_up_profile_from(profile, chosen);
    set_up_profile_check(profile, chosen);
    set_up_profile_show(profile, chosen);
    profile.footer("docs/profile.md describes the file.\n\n"
                   "Example:\n  yokedock profile check board.profile.json");
}

} // namespace yokedock::cli
