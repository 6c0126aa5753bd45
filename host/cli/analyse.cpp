// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/output.hpp"
#include "host/record/record.hpp"
#include "host/report/difference.hpp"
#include "host/report/json.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct AnalyseCommand {
    std::string record_file;
    std::string against_file;
    std::string profile_file;
    std::string out_file;
    OutputOptions output;
};

struct Loaded {
    record::Record record;
    Evaluation evaluation;
};

/// The record with figures made anew from its raw data by this version.
Result<Loaded> load(const std::string& path, const std::optional<record::Profile>& profile) {
    Result<record::Record> record = record::load_record(path);
    if (!record) {
        return record.error();
    }
    Loaded loaded{std::move(record).value(), {}};
    if (profile) {
        loaded.record.profile = profile;
    }
    loaded.evaluation = evaluate(record::observation_of(loaded.record), loaded.record.profile);
    loaded.record.figures = loaded.evaluation.figures;
    return loaded;
}

bool same_bench(const record::Record& a, const record::Record& b) {
    return a.raw && b.raw &&
           a.raw->bench.identity.bench_serial == b.raw->bench.identity.bench_serial;
}

Status show_against(const AnalyseCommand& options, const Loaded& record, const Loaded& other,
                    Seams& seams) {
    const bool same = same_bench(record.record, other.record);
    const auto differences = report::differences(other.record.figures, record.record.figures, same);
    const auto words = report::explain_difference(other.record.figures, record.record.figures, same,
                                                  options.against_file, options.record_file);
    if (options.output.json) {
        seams.out << report::json_output(differences, words, "analyse", options.record_file,
                                         options.against_file);
        return Done{};
    }
    for (const std::string& sentence : words) {
        seams.out << report::paragraph("", report::printable(sentence));
    }
    seams.out << '\n'
              << report::difference_table(differences, options.against_file, options.record_file);
    return Done{};
}

Result<ExitCode> run_analyse(const AnalyseCommand& options, Seams& seams) {
    if (const Status outputs = check_outputs(options.output, options.out_file); !outputs) {
        return outputs.error();
    }
    const auto given = load_given_profile(options.profile_file);
    if (!given) {
        return given.error();
    }
    const std::optional<record::Profile>& profile = given.value();
    const Result<Loaded> record = load(options.record_file, profile);
    if (!record) {
        return record.error();
    }
    if (record.value().record.tool_version != YOKEDOCK_VERSION) {
        seams.err << fmt::format(
            "the record was written by yokedock {}; its data are analysed anew by {}\n",
            report::printable(record.value().record.tool_version), YOKEDOCK_VERSION);
    }
    if (!options.out_file.empty()) {
        record::Record renewed = record.value().record;
        renewed.tool_version = YOKEDOCK_VERSION;
        if (const Status saved =
                record::save_record(renewed, options.out_file, if_exists(options.output));
            !saved) {
            return saved.error();
        }
        seams.err << "record: " << options.out_file << '\n';
    }
    Status shown = Done{};
    if (options.against_file.empty()) {
        shown = show(record.value().record, record.value().evaluation, options.output,
                     options.record_file, "analyse", seams);
    } else {
        const Result<Loaded> other = load(options.against_file, profile);
        if (!other) {
            return other.error();
        }
        shown = show_against(options, record.value(), other.value(), seams);
    }
    return shown ? Result<ExitCode>(ExitCode::kGood) : Result<ExitCode>(shown.error());
}

} // namespace

void set_up_analyse(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<AnalyseCommand>();
    Parser command = add_command<AnalyseCommand>(
        app, chosen, "analyse", "Figures from a saved record, made anew from its raw data",
        kGroupFiles, options, run_analyse);
    command.add_option("record", options->record_file, "record to analyse").required();
    command.add_option("--against", options->against_file,
                       "another record, of a good board: say in plain words what differs");
    command.add_option("--profile", options->profile_file,
                       "profile of the board type, in place of the record's own");
    command.add_option("--out", options->out_file, "save the record with the new figures here")
        .group("Output");
    add_output_options(command, options->output);
    command.footer("Examples:\n  yokedock analyse board.json --plot\n"
                   "  yokedock analyse board.json --against good.json");
}

} // namespace yokedock::cli
