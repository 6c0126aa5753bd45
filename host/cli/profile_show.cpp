// SPDX-License-Identifier: MIT
#include "host/cli/power_options.hpp"
#include "host/cli/profile.hpp"
#include "host/record/json_text.hpp"
#include "host/record/profile_json.hpp"
#include "host/report/json.hpp"
#include "host/report/profile_report.hpp"
#include <ostream>

namespace yokedock::cli {
namespace {

struct ShowCommand {
    std::string file;
    bool json = false;
};

Result<ExitCode> run_show(const ShowCommand& options, Seams& seams) {
    const Result<record::Profile> profile = record::load_profile(options.file);
    if (!profile) {
        return profile.error();
    }
    if (options.json) {
        seams.out << record::json_text({{"schema", report::kOutputSchema},
                                        {"command", "profile show"},
                                        {"file", options.file},
                                        {"profile", record::profile_to_json(profile.value())}});
    } else {
        seams.out << report::profile_report(profile.value()) << not_switched_text(profile.value());
    }
    return ExitCode::kGood;
}

} // namespace

void set_up_profile_show(Parser& profile, Chosen& chosen) {
    const auto options = std::make_shared<ShowCommand>();
    Parser command = add_command<ShowCommand>(
        profile, chosen, "show", "Print a profile for reading", "Profiles", options, run_show);
    command.add_option("file", options->file, "profile to show").required();
    command.add_flag("--json", options->json, "results as JSON");
    command.footer("Example:\n  yokedock profile show board.profile.json");
}

} // namespace yokedock::cli
