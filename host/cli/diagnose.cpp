// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/record/catalogue_file.hpp"
#include "host/record/evidence.hpp"
#include "host/record/record.hpp"
#include "host/report/diagnosis_report.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct DiagnoseCommand {
    std::string record_file;
    std::string profile_file;
    std::string reference_file;
    std::string catalogue_file;
    bool json = false;
};

Result<diagnose::Catalogue> catalogue_of(const DiagnoseCommand& options) {
    return options.catalogue_file.empty() ? record::built_in_catalogue()
                                          : record::load_catalogue(options.catalogue_file);
}

Result<std::optional<analysis::FigureSet>>
reference_figures(const DiagnoseCommand& options, const std::optional<record::Profile>& profile) {
    if (options.reference_file.empty()) {
        return std::optional<analysis::FigureSet>();
    }
    const Result<record::Record> reference = record::load_record(options.reference_file);
    if (!reference) {
        return reference.error();
    }
    return std::optional(evaluate(record::observation_of(reference.value()), profile).figures);
}

Result<ExitCode> run_diagnose(const DiagnoseCommand& options, Seams& seams) {
    const Result<diagnose::Catalogue> catalogue = catalogue_of(options);
    if (!catalogue) {
        return catalogue.error();
    }
    const Result<record::Record> loaded = record::load_record(options.record_file);
    if (!loaded) {
        return loaded.error();
    }
    const record::Record& record = loaded.value();
    const auto given = load_given_profile(options.profile_file);
    if (!given) {
        return given.error();
    }
    const std::optional<record::Profile>& profile = given.value() ? given.value() : record.profile;
    const auto reference = reference_figures(options, profile);
    if (!reference) {
        return reference.error();
    }
    const capture::Observation observation = record::observation_of(record);
    const analysis::FigureSet figures = evaluate(observation, profile).figures;
    const auto& good = reference.value();
    diagnose::Evidence evidence = record::evidence_from(catalogue.value(), figures, observation,
                                                        profile, good ? &*good : nullptr);
    if (record.power && record.power->trip) {
        evidence.trip = record.power->trip->cause;
    }
    const diagnose::Diagnosis found = diagnose::diagnose(catalogue.value(), evidence);
    std::vector<std::string> remarks;
    if (!evidence.trip.empty()) {
        remarks.push_back("the bench switched the board off: " + record.power->trip->text);
    }
    for (const std::string& remark : report::heat_remarks(figures, profile)) {
        remarks.push_back(remark);
    }
    seams.out << (options.json ? report::diagnosis_json(found, remarks, options.record_file)
                               : report::diagnosis_text(found, remarks));
    return found.outcome == diagnose::Outcome::kHealthy ? ExitCode::kGood : ExitCode::kVerdict;
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
    command.add_option("--catalogue", options->catalogue_file,
                       "catalogue of faults, in place of the built-in one");
    command.add_flag("--json", options->json, "print JSON");
    command.footer("Exit code 1: a fault is suspected, or something is wrong that cannot be told, "
                   "or nothing could be judged.\n\nExample:\n  yokedock diagnose board.json "
                   "--profile quillwood13.profile.json");
}

} // namespace yokedock::cli
