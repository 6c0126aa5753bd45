// SPDX-License-Identifier: MIT
#include "host/cli/evaluate.hpp"
#include "host/cli/profile.hpp"
#include "host/cli/profile_boards.hpp"
#include "host/cli/profile_sweeps.hpp"
#include "host/record/json_text.hpp"
#include "host/record/profile_json.hpp"
#include "host/record/profile_learn.hpp"
#include "host/report/json.hpp"
#include "host/report/profile_report.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct FromCommand {
    std::vector<std::string> records;
    std::vector<std::string> sweeps;
    std::string out_file;
    std::string base_file;
    std::string name;
    bool any_record = false;
    bool force = false;
    bool json = false;
};

Result<record::Profile> start_profile(const FromCommand& options, const std::vector<Board>& boards,
                                      const std::optional<record::Profile>& base) {
    record::Profile profile = base.value_or(record::Profile{});
    if (!options.name.empty()) {
        profile.name = options.name;
    }
    if (profile.name.empty()) {
        return Error{ErrorKind::kUsage,
                     "--name is missing, and the records have no profile to take one from; "
                     "expected the name of the board type"};
    }
    if (!base) {
        if (is_standard(boards[0].standard)) {
            profile.standard = boards[0].standard;
        } else if (boards[0].line_rate_hz > 0 && boards[0].field_rate_hz > 0) {
            profile.line_rate_hz = boards[0].line_rate_hz;
            profile.field_rate_hz = boards[0].field_rate_hz;
        } else {
            return Error{ErrorKind::kFile,
                         fmt::format("{} tells neither standard nor rates, expected one of them; "
                                     "give a profile that does with --profile",
                                     boards[0].file)};
        }
    }
    return profile;
}

std::string from_note(const std::vector<Board>& boards) {
    return fmt::format("expected figures learned from {} record{}{}", boards.size(),
                       boards.size() == 1 ? "" : "s",
                       boards[0].simulated ? " of the simulated bench" : "");
}

void show(const FromCommand& options, const record::Profile& profile,
          const record::Learned& learned, Seams& seams) {
    if (options.json) {
        nlohmann::ordered_json left = nlohmann::ordered_json::array();
        for (const auto& one : learned.left_out) {
            left.push_back({{"figure", one.figure}, {"reason", one.reason}});
        }
        seams.out << record::json_text({{"schema", report::kOutputSchema},
                                        {"command", "profile from"},
                                        {"records", options.records},
                                        {"profile", record::profile_to_json(profile)},
                                        {"left_out", left}});
        return;
    }
    seams.out << report::profile_heading(profile)
              << "\nExpected figures (+- is the tolerance, no standard uncertainty)\n"
              << report::expected_table(profile) << "\nLeft out\n";
    for (const auto& one : learned.left_out) {
        seams.out << report::paragraph(fmt::format("  {:<26} ", one.figure),
                                       report::printable(one.reason));
    }
}

void warn_of_few(std::size_t boards, Seams& seams) {
    if (boards == 1) {
        seams.err << report::paragraph(
            "warning: ", "One record tells nothing of how boards differ: every tolerance is a "
                         "default. Add records of other good boards.");
    } else if (boards < 5) {
        seams.err << report::paragraph(
            "warning: ",
            fmt::format("{} boards tell little of how boards differ: tolerances are {:.1f} times "
                        "the spread. Each record must be of another board.",
                        boards, record::student_t_975(boards - 1)));
    }
}

Result<ExitCode> run_from(const FromCommand& options, Seams& seams) {
    const auto if_exists = options.force ? record::IfExists::kReplace : record::IfExists::kRefuse;
    if (const Status writable = record::check_writable(options.out_file, if_exists); !writable) {
        return writable.error();
    }
    auto given = load_given_profile(options.base_file);
    if (!given) {
        return given.error();
    }
    std::optional<record::Profile> base = std::move(given).value();
    std::vector<Board> boards;
    for (const std::string& file : options.records) {
        if (seams.stop.stopped()) {
            return Error{ErrorKind::kStopped, "stopped; no profile was written"};
        }
        Result<Board> board = load_board(file, base);
        if (!board) {
            return board.error();
        }
        boards.push_back(std::move(board).value());
    }
    if (const Status kind = check_same_kind(boards, base); !kind) {
        return kind.error();
    }
    const Result<std::vector<SweptBoard>> swept = load_sweeps(options.sweeps, boards[0], seams);
    if (!swept) {
        return swept.error();
    }
    auto against = objections(boards);
    for (const std::string& one : sweep_objections(swept.value(), boards[0])) {
        against.push_back(one);
    }
    if (!against.empty()) {
        std::string words;
        for (const std::string& one : against) {
            words += (words.empty() ? "" : "; ") + one;
        }
        if (!options.any_record) {
            return Error{ErrorKind::kFile,
                         words + "; expected whole records of good boards, locked; measure again, "
                                 "or add --any-record to take them all the same"};
        }
        seams.err << report::paragraph("warning: ", report::printable(words));
    }
    Result<record::Profile> started = start_profile(options, boards, base);
    if (!started) {
        return started.error();
    }
    record::Profile profile = std::move(started).value();
    std::vector<analysis::FigureSet> figures;
    for (const Board& board : boards) {
        figures.push_back(board.figures);
    }
    record::Learned learned = record::learn_expected(figures);
    profile.expected = learned.expected;
    learn_sweeps(swept.value(), base, profile, learned);
    profile.simulated = boards[0].simulated;
    profile.notes.push_back(from_note(boards));
    const std::string text = record::profile_text(profile);
    const Result<record::CheckedProfile> checked =
        record::check_profile_text(text, options.out_file);
    if (!checked) {
        return checked.error();
    }
    if (!checked.value().profile) { // figures of good boards beyond the limits that were stated
        std::string words = "the records do not fit the profile";
        for (const record::ProfileMistake& mistake : checked.value().mistakes) {
            words +=
                fmt::format("; {} is {}, expected {}", mistake.key, mistake.is, mistake.expected);
        }
        return Error{ErrorKind::kFile, words + "; correct the profile given with --profile"};
    }
    if (const Status saved = record::write_file(options.out_file, text, if_exists); !saved) {
        return saved.error();
    }
    show(options, profile, learned, seams);
    warn_of_few(boards.size(), seams);
    seams.err << "profile: " << options.out_file << '\n';
    return ExitCode::kGood;
}

} // namespace

void set_up_profile_from(Parser& profile, Chosen& chosen) {
    const auto options = std::make_shared<FromCommand>();
    Parser command = add_command<FromCommand>(
        profile, chosen, "from", "Learn the expected figures from records of good boards",
        "Profiles", options, run_from);
    command.add_option("records", options->records, "records, each of another good board")
        .required();
    command.add_option("--out", options->out_file, "profile to write").required();
    command.add_option("--profile", options->base_file,
                       "profile to add the figures to (default: the first record's own, if any)");
    command.add_option("--name", options->name, "name of the board type");
    command
        .add_option("--sweep", options->sweeps,
                    "log of a lock sweep of a good board, each of another one: free run and hold "
                    "range are learned, too; may be given again")
        .one_value_at_a_time();
    command.add_flag("--any-record", options->any_record,
                     "take incomplete records and sweeps, and boards that are not locked, too");
    command.add_flag("--force", options->force, "replace a file that exists");
    command.add_flag("--json", options->json, "results as JSON");
    command.footer(
        "One record: tolerances are defaults. Several: the 95 % prediction interval for one more "
        "board.\n\n"
        "Example:\n  yokedock profile from good1.json good2.json good3.json --profile "
        "board.profile.json --out learned.profile.json");
}

} // namespace yokedock::cli
