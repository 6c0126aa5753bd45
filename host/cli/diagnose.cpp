// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/profile_boards.hpp"
#include "host/cli/sweep_evidence.hpp"
#include "host/cli/trip_record.hpp"
#include "host/record/catalogue_file.hpp"
#include "host/record/evidence.hpp"
#include "host/record/record.hpp"
#include "host/record/trip_evidence.hpp"
#include "host/report/diagnosis_report.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct DiagnoseCommand {
    std::string record_file;
    std::string profile_file;
    std::string reference_file;
    std::string cold_file;
    std::string catalogue_file;
    std::vector<std::string> sweep_files;
    bool json = false;
};

/// What every record is judged with.
struct Judging {
    diagnose::Catalogue catalogue;
    std::optional<record::Profile> profile;
    std::optional<analysis::FigureSet> reference;
};

/// A record, its figures made anew.
struct Judged {
    record::Record record;
    capture::Observation observation;
    analysis::FigureSet figures;
};

Result<diagnose::Catalogue> catalogue_of(const DiagnoseCommand& options) {
    return options.catalogue_file.empty() ? record::built_in_catalogue()
                                          : record::load_catalogue(options.catalogue_file);
}

Judged judged(record::Record record, const std::optional<record::Profile>& profile) {
    record::drop_trip_samples(record);
    capture::Observation observation = record::observation_of(record);
    analysis::FigureSet figures = evaluate(observation, profile).figures;
    return {std::move(record), std::move(observation), std::move(figures)};
}

bool is_simulated(const record::Record& record) {
    return record.raw && record.raw->bench.simulated;
}

/// Figures of another sync mean something else; "free" and imports tell no standard.
Status check_standard(const std::string& what, const std::string& standard,
                      const DiagnoseCommand& options, const record::Record& record) {
    if (!is_standard(standard) || !is_standard(record.standard) || standard == record.standard) {
        return Done{};
    }
    return Error{ErrorKind::kFile,
                 fmt::format("the standard of {} is {}, that of {} is {}, expected the same; give "
                             "one of this board type",
                             what, standard, options.record_file, record.standard)};
}

/// The same for rates that are no standard's. rate_hz 0: not known.
Status check_rate(const std::string& what, const char* axis, double rate_hz, double of_record_hz,
                  const DiagnoseCommand& options) {
    constexpr double kSameRate = 2e-3; // 59.94 for 60 Hz is the same, 1 line more in 262 is not
    if (!(rate_hz > 0) || !(of_record_hz > 0) ||
        std::abs(of_record_hz / rate_hz - 1) <= kSameRate) {
        return Done{};
    }
    return Error{
        ErrorKind::kFile,
        fmt::format("{} was measured with a {} rate of {:.2f} Hz, expected {:.2f} Hz as in "
                    "{}; sizes and times of another rate mean something else: measure it "
                    "at that rate",
                    options.record_file, axis, of_record_hz, rate_hz, what)};
}

Status check_rates(const std::string& what, double line_hz, double field_hz,
                   const capture::Observation& record, const DiagnoseCommand& options) {
    if (!record.sync_on || record.imported) {
        return Done{};
    }
    if (const Status same = check_rate(what, "line", line_hz, record.line_rate_hz, options);
        !same) {
        return same;
    }
    return check_rate(what, "field", field_hz, record.field_rate_hz, options);
}

/// Another record beside the one to judge.
Result<Judged> other_record(const std::string& file, const DiagnoseCommand& options,
                            const Judged& main, const std::optional<record::Profile>& profile) {
    Result<record::Record> loaded = record::load_record(file);
    if (!loaded) {
        return loaded.error();
    }
    if (const Status measured = refuse_trip_record(loaded.value(), file); !measured) {
        return measured.error();
    }
    if (const Status same = check_standard(file, loaded.value().standard, options, main.record);
        !same) {
        return same.error();
    }
    Judged other = judged(std::move(loaded).value(), profile);
    const bool sent = other.observation.sync_on && !other.observation.imported;
    if (const Status same =
            check_rates(file, sent ? other.observation.line_rate_hz : 0,
                        sent ? other.observation.field_rate_hz : 0, main.observation, options);
        !same) {
        return same.error();
    }
    if (same_readings(other.figures, main.figures)) {
        return Error{ErrorKind::kFile,
                     fmt::format("{} and {} hold the same measurement, expected different ones; "
                                 "give another record",
                                 options.record_file, file)};
    }
    return other;
}

diagnose::Evidence evidence_of(const Judging& judging, const Judged& board) {
    diagnose::Evidence evidence =
        record::evidence_from(judging.catalogue, board.figures, board.observation, judging.profile,
                              judging.reference ? &*judging.reference : nullptr);
    record::add_start(board.record, judging.profile, evidence);
    return evidence;
}

Result<Judging> judging_with(const DiagnoseCommand& options, Judged& main) {
    Result<diagnose::Catalogue> catalogue = catalogue_of(options);
    if (!catalogue) {
        return catalogue.error();
    }
    Result<std::optional<record::Profile>> given = load_given_profile(options.profile_file);
    if (!given) {
        return given.error();
    }
    Judging judging{std::move(catalogue).value(),
                    given.value() ? std::move(given).value() : main.record.profile, std::nullopt};
    main = judged(std::move(main.record), judging.profile);
    if (judging.profile) {
        const std::string what =
            options.profile_file.empty() ? "its own profile" : options.profile_file;
        if (const Status same =
                check_standard(what, judging.profile->standard, options, main.record);
            !same) {
            return same.error();
        }
        if (const Status same = check_rates(what, record::nominal_line_rate_hz(*judging.profile),
                                            record::nominal_field_rate_hz(*judging.profile),
                                            main.observation, options);
            !same) {
            return same.error();
        }
    }
    if (!options.reference_file.empty()) {
        Result<Judged> reference =
            other_record(options.reference_file, options, main, judging.profile);
        if (!reference) {
            return reference.error();
        }
        judging.reference = std::move(reference).value().figures;
    }
    return judging;
}

/// The record's own reading of a figure counts before the sweep's.
void add_sweep_figures(const analysis::FigureSet& swept, analysis::FigureSet& figures) {
    for (const analysis::Figure& figure : swept) {
        const auto same = std::find_if(figures.begin(), figures.end(),
                                       [&](const auto& own) { return own.name == figure.name; });
        if (same == figures.end()) {
            figures.push_back(figure);
        } else if (same->status != analysis::FigureStatus::kMeasured) {
            *same = figure;
        }
    }
}

SweptSync swept_sync(const std::string& file, const Judged& main,
                     const std::optional<record::Profile>& profile) {
    const auto rate = [&](double seen, double (*nominal)(const record::Profile&)) {
        return seen > 0 || !profile ? seen : nominal(*profile);
    };
    return {file, main.record.standard,
            rate(main.observation.line_rate_hz, record::nominal_line_rate_hz),
            rate(main.observation.field_rate_hz, record::nominal_field_rate_hz)};
}

Result<ExitCode> run_diagnose(const DiagnoseCommand& options, Seams& seams) {
    Result<record::Record> loaded = record::load_record(options.record_file);
    if (!loaded) {
        return loaded.error();
    }
    Judged main{std::move(loaded).value(), {}, {}};
    const Result<Judging> judging = judging_with(options, main);
    if (!judging) {
        return judging.error();
    }
    const Judging& with = judging.value();
    diagnose::Evidence evidence = evidence_of(with, main);
    if (!options.cold_file.empty()) {
        const Result<Judged> cold = other_record(options.cold_file, options, main, with.profile);
        if (!cold) {
            return cold.error();
        }
        diagnose::add_cold(evidence, evidence_of(with, cold.value()));
    }
    const Result<SweepEvidence> swept =
        sweep_evidence(options.sweep_files, swept_sync(options.record_file, main, with.profile),
                       is_simulated(main.record), seams);
    if (!swept) {
        return swept.error();
    }
    add_sweep_figures(swept.value().figures, evidence.figures);
    const diagnose::Diagnosis found = diagnose::diagnose(with.catalogue, evidence);
    std::vector<std::string> remarks;
    if (!evidence.trip.empty()) {
        remarks.push_back(main.record.power->trip->text);
    }
    for (const auto& more :
         {swept.value().remarks, report::heat_remarks(main.figures, with.profile)}) {
        remarks.insert(remarks.end(), more.begin(), more.end());
    }
    seams.out << (options.json ? report::diagnosis_json(found, remarks, options.record_file)
                               : report::diagnosis_text(found, remarks));
    switch (found.outcome) {
    case diagnose::Outcome::kHealthy:
        return ExitCode::kGood;
    case diagnose::Outcome::kNoFigures:
        return ExitCode::kCannotTell;
    case diagnose::Outcome::kSuspect:
    case diagnose::Outcome::kSection:
    case diagnose::Outcome::kUnclear:
        break;
    }
    return ExitCode::kVerdict;
}

} // namespace

void set_up_diagnose(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<DiagnoseCommand>();
    Parser command = add_command<DiagnoseCommand>(
        app, chosen, "diagnose", "Which section and part a saved record speaks against",
        kGroupFiles, options, run_diagnose);
    command.add_option("record", options->record_file, "record to judge").required();
    command.add_option("--profile", options->profile_file,
                       "profile of the board type with expected figures, in place of the record's");
    command.add_option("--reference", options->reference_file,
                       "record of a good board, best the same one: counts before the profile");
    command
        .add_option("--sweep", options->sweep_files,
                    "log of a lock sweep of the same board: its free run and hold range count, "
                    "too; may be given again")
        .one_value_at_a_time();
    command.add_option("--cold", options->cold_file,
                       "record of the same board taken cold, for faults that come with heat");
    command.add_option("--catalogue", options->catalogue_file,
                       "catalogue of faults, in place of the built-in one");
    command.add_flag("--json", options->json, "print JSON");
    command.footer(
        "Exit code 0: nothing found. 1: a fault is suspected, or something is wrong that cannot be "
        "told. 7: nothing could be judged.\n\n"
        "Examples:\n"
        "  yokedock diagnose board.json --profile quillwood13.profile.json\n"
        "  yokedock diagnose warm.json --profile quillwood13.profile.json --cold cold.json --sweep "
        "hold.jsonl");
}

} // namespace yokedock::cli
