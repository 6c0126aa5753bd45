// SPDX-License-Identifier: MIT
#include "host/cli/power_options.hpp"
#include "host/cli/profile.hpp"
#include "host/cli/profile_form.hpp"
#include "host/record/file.hpp"
#include "host/report/profile_report.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct NewCommand {
    std::string out_file;
    bool force = false;
    bool ask = false;
    FormWords given; ///< one entry per option of the form; "" not given
};

const FormField* field_of(const std::string& path) {
    const auto& fields = form_fields();
    const auto found = std::find_if(fields.begin(), fields.end(),
                                    [&](const FormField& field) { return field.path == path; });
    return found == fields.end() ? nullptr : &*found;
}

/// The options given, each good by itself; all that are wrong are named.
Result<FormWords> words_of(const NewCommand& options) {
    FormWords words;
    std::string problems;
    for (const FormField& field : form_fields()) {
        const auto given = options.given.find(field.path);
        if (given == options.given.end() || given->second.empty()) {
            continue;
        }
        if (const std::string problem = word_problem(field, given->second); !problem.empty()) {
            problems += (problems.empty() ? "" : "; ") + field.option + " is " + problem;
        }
        words[field.path] = given->second;
    }
    if (!problems.empty()) {
        return Error{ErrorKind::kUsage, problems};
    }
    return words;
}

Error misfit(const record::CheckedProfile& checked) {
    std::string text;
    for (const record::ProfileMistake& mistake : checked.mistakes) {
        const FormField* field = field_of(mistake.key);
        text += (text.empty() ? "" : "; ") + (field != nullptr ? field->option : mistake.key) +
                " is " + mistake.is + ", expected " + mistake.expected;
    }
    return {ErrorKind::kUsage, text};
}

std::string missing_text(const std::vector<const FormField*>& missing) {
    std::string names;
    for (const FormField* field : missing) {
        names += (names.empty() ? "" : ", ") + field->option;
        if (field->path == "standard") {
            names += " (or --line-rate-hz and --field-rate-hz)";
        }
    }
    return names;
}

Result<ExitCode> run_new(const NewCommand& options, Seams& seams) {
    const auto if_exists = options.force ? record::IfExists::kReplace : record::IfExists::kRefuse;
    Result<FormWords> given = words_of(options);
    if (!given) {
        return given.error();
    }
    FormWords words = std::move(given).value();
    const auto missing = missing_fields(words);
    const bool can_ask = seams.in_is_terminal && seams.read_line;
    if (options.ask && !can_ask) {
        return Error{ErrorKind::kUsage, "--ask needs a terminal, and the input is none; give the "
                                        "values as options"};
    }
    if (!missing.empty() && !can_ask) {
        return Error{ErrorKind::kUsage,
                     fmt::format("missing {}: the input is no terminal to ask on, expected them as "
                                 "options; see yokedock profile new --help",
                                 missing_text(missing))};
    }
    if (const Status writable = record::check_writable(options.out_file, if_exists); !writable) {
        return writable.error();
    }
    if (!missing.empty() || options.ask) {
        if (const Status asked = ask_form(words, seams); !asked) {
            return asked.error();
        }
    }
    const record::CheckedProfile checked = profile_of(words);
    if (!checked.profile) {
        return misfit(checked);
    }
    if (const Status saved =
            record::write_file(options.out_file, record::profile_text(*checked.profile), if_exists);
        !saved) {
        return saved.error();
    }
    seams.out << report::profile_report(*checked.profile);
    seams.err << "profile: " << options.out_file << '\n'
              << not_switched_text(*checked.profile, "warning: ")
              << report::paragraph("", "next: write parts and questions into it (docs/profile.md), "
                                       "learn the expected figures with yokedock profile from, "
                                       "check it with yokedock profile check");
    return ExitCode::kGood;
}

} // namespace

void set_up_profile_new(Parser& profile, Chosen& chosen) {
    const auto options = std::make_shared<NewCommand>();
    Parser command = add_command<NewCommand>(
        profile, chosen, "new", "Make a profile from options, or by asking on a terminal",
        "Profiles", options, run_new);
    command.add_option("--out", options->out_file, "profile to write").required();
    command.add_flag("--force", options->force, "replace a file that exists");
    command.add_flag("--ask", options->ask,
                     "ask for everything not given, also when nothing needed is missing");
    for (const FormField& field : form_fields()) {
        const std::string object = field.key->object;
        const std::string group = object.empty()                                   ? "Board type"
                                  : object == "limits"                             ? "Limits"
                                  : object == "vertical" || object == "horizontal" ? "Visible part"
                                                                                   : "Yoke";
        const std::string value = field.key->type == record::KeyType::kFlag ? "yes|no" : "VALUE";
        command.add_option(field.option, options->given[field.path], field.key->text)
            .type_name(value)
            .one_value_at_a_time()
            .group(group);
    }
    command.footer(
        "On a terminal, what is needed and not given is asked for, one question at a time.\n\n"
        "Example:\n  yokedock profile new --out board.profile.json --name \"Quillwood 13\" "
        "--standard 525/59.94 --live-to-mains no --own-line-output-transformer yes "
        "--supply-min-v 21.5 --supply-max-v 26.5 --supply-max-a 1 --soft-start-ms 500 "
        "--soft-start-min-v 10 --supply-idle-max-a 0.8 --vertical-yoke-inductance-h 0.022 "
        "--vertical-yoke-resistance-ohm 11\n\n"
        "How to choose limits: docs/profile.md, Choosing limits.");
}

} // namespace yokedock::cli
