// SPDX-License-Identifier: MIT
#include "host/cli/profile.hpp"

namespace yokedock::cli {

void set_up_profile(CLI::App& app, Chosen& chosen) {
    CLI::App* profile = app.add_subcommand("profile", "Make, check and show profiles: what a board "
                                                      "type should do and may not exceed")
                            ->group(kGroupFiles);
    profile->require_subcommand(1);
    set_up_profile_new(*profile, chosen);
    set_up_profile_from(*profile, chosen);
    set_up_profile_check(*profile, chosen);
    set_up_profile_show(*profile, chosen);
    profile->footer("docs/profile.md describes the file.\n\n"
                    "Example:\n  yokedock profile check board.profile.json");
}

} // namespace yokedock::cli
