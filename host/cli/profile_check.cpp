// SPDX-License-Identifier: MIT
#include "host/cli/power_options.hpp"
#include "host/cli/profile.hpp"
#include "host/record/file.hpp"
#include "host/record/json_text.hpp"
#include "host/record/profile.hpp"
#include "host/report/json.hpp"
#include "host/report/profile_report.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <ostream>

namespace yokedock::cli {
namespace {

struct CheckCommand {
    std::string file;
    bool json = false;
};

void show_json(const CheckCommand& options, const record::CheckedProfile& checked, Seams& seams) {
    using Json = nlohmann::ordered_json;
    Json mistakes = Json::array();
    for (const record::ProfileMistake& mistake : checked.mistakes) {
        mistakes.push_back({{"line", mistake.line},
                            {"key", mistake.key},
                            {"is", mistake.is},
                            {"expected", mistake.expected}});
    }
    seams.out << record::json_text({{"schema", report::kOutputSchema},
                                    {"command", "profile check"},
                                    {"file", options.file},
                                    {"good", checked.mistakes.empty()},
                                    {"mistakes", mistakes}});
}

void show_text(const record::CheckedProfile& checked, Seams& seams) {
    for (const record::ProfileMistake& mistake : checked.mistakes) {
        seams.out << report::paragraph("", report::printable(record::mistake_text(mistake)));
    }
    if (checked.profile) {
        seams.out << "no mistakes\n"
                  << report::profile_heading(*checked.profile)
                  << fmt::format("  {} parts, {} expected figures, {} questions of its own\n",
                                 checked.profile->parts.size(), checked.profile->expected.size(),
                                 checked.profile->questions.size())
                  << report::unguarded_text(*checked.profile)
                  << not_switched_text(*checked.profile);
    }
}

Result<ExitCode> run_check(const CheckCommand& options, Seams& seams) {
    const Result<std::string> text =
        record::read_file(options.file, record::kMaxProfileBytes, "profile");
    if (!text) {
        return text.error();
    }
    const Result<record::CheckedProfile> checked =
        record::check_profile_text(text.value(), options.file);
    if (!checked) {
        return checked.error();
    }
    if (options.json) {
        show_json(options, checked.value(), seams);
    } else {
        show_text(checked.value(), seams);
    }
    const std::size_t mistakes = checked.value().mistakes.size();
    if (mistakes == 0) {
        return ExitCode::kGood;
    }
    return Error{ErrorKind::kFile,
                 fmt::format("profile {} has {} mistake{}, expected none; correct the lines named",
                             options.file, mistakes, mistakes == 1 ? "" : "s")};
}

} // namespace

void set_up_profile_check(Parser& profile, Chosen& chosen) {
    const auto options = std::make_shared<CheckCommand>();
    Parser command = add_command<CheckCommand>(profile, chosen, "check",
                                               "Name line and key of every mistake in a profile",
                                               "Profiles", options, run_check);
    command.add_option("file", options->file, "profile to check").required();
    command.add_flag("--json", options->json, "results as JSON");
    command.footer("Exit code 0: no mistakes; 5: mistakes, or no profile at all.\n\n"
                   "Example:\n  yokedock profile check board.profile.json");
}

} // namespace yokedock::cli
