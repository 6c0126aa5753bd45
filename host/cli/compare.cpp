// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/cli/compare_run.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/trip_record.hpp"

namespace yokedock::cli {
namespace {

struct CompareCommand {
    std::string record_file;
    std::string profile_file;
    CompareSettings settings;
    OutputOptions output;
};

Result<ExitCode> run_compare(const CompareCommand& options, Seams& seams) {
    if (const Status settings = check_settings(options.settings); !settings) {
        return settings.error();
    }
    if (const Status outputs = check_outputs(options.output, ""); !outputs) {
        return outputs.error();
    }
    CompareSettings settings = options.settings;
    auto given = load_given_profile(options.profile_file);
    if (!given) {
        return given.error();
    }
    settings.profile = std::move(given).value();
    const Result<record::Record> record = record::load_record(options.record_file);
    if (!record) {
        return record.error();
    }
    if (const Status measured = refuse_trip_record(record.value(), options.record_file);
        !measured) {
        return measured.error();
    }
    return compare_record(record.value(), options.record_file, settings, options.output, seams);
}

} // namespace

void set_up_compare(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<CompareCommand>();
    Parser command = add_command<CompareCommand>(
        app, chosen, "compare",
        "Say whether a board matches a known-good one, or itself before: figures and ramps",
        kGroupFiles, options, run_compare);
    command.add_option("record", options->record_file, "record of the board in question")
        .required();
    command
        .add_option("references", options->settings.reference_files,
                    "record of a good board, or of the same board before; several good boards make "
                    "a reference with spread")
        .required();
    command.add_option("--profile", options->profile_file,
                       "profile of the board type, in place of the references' own");
    add_compare_options(command, options->settings);
    add_output_options(command, options->output, "both boards' ramps and their difference");
    command.footer(
        "Ends with 0 when the board is the same, 1 when it is different, 7 when it cannot be told. "
        "A CSV of an oscilloscope becomes a record with yokedock import; a live board is compared "
        "with yokedock measure --compare GOOD.json.\n\n"
        "Examples:\n  yokedock compare repaired.json good.json --plot\n"
        "  yokedock compare repaired.json good1.json good2.json good3.json --svg compare.svg\n"
        "  yokedock compare after.json before.json --axis vertical --json");
}

} // namespace yokedock::cli
