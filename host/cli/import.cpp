// SPDX-License-Identifier: MIT
#include "host/record/import.hpp"
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/output.hpp"
#include "host/cli/parser.hpp"
#include "host/cli/sync_options.hpp"
#include "host/record/record.hpp"
#include <cmath>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct ImportCommand {
    std::vector<std::string> files;
    std::vector<std::string> columns;
    std::vector<std::string> scales;
    std::vector<std::string> ignored;
    bool ignore_others = false;
    bool decimal_comma = false;
    double step_s = 0;
    std::string standard;
    double line_rate_hz = 0;
    double field_rate_hz = 0;
    double gain_u_pct = 2;
    std::string profile_file;
    std::string out_file;
    std::vector<std::string> notes;
    OutputOptions output;
};

/// "name=value" in two. The value may hold '=' itself.
Result<std::pair<std::string, std::string>> split_pair(const std::string& text,
                                                       const std::string& option) {
    const auto at = text.find('=');
    if (at == std::string::npos || at == 0 || at + 1 == text.size()) {
        return Error{ErrorKind::kUsage,
                     fmt::format("{} is \"{}\", expected NAME=VALUE", option, text.substr(0, 60))};
    }
    return std::pair{text.substr(0, at), text.substr(at + 1)};
}

Status take_columns(const ImportCommand& command, record::CsvOptions& csv) {
    for (const std::string& text : command.columns) {
        const auto pair = split_pair(text, "--column");
        if (!pair) {
            return pair.error();
        }
        if (!csv.column_headers.emplace(pair.value()).second) {
            return Error{ErrorKind::kUsage, fmt::format("--column {} is given twice, expected once",
                                                        pair.value().first)};
        }
    }
    for (const std::string& text : command.scales) {
        const auto pair = split_pair(text, "--scale");
        if (!pair) {
            return pair.error();
        }
        const double factor = parse_number(pair.value().second).value_or(NAN);
        if (!std::isfinite(factor) || factor == 0 ||
            (pair.value().first == "time_s" && factor < 0)) {
            return Error{
                ErrorKind::kUsage,
                fmt::format("--scale {} is \"{}\", expected a factor other than 0 (positive for "
                            "time_s)",
                            pair.value().first, pair.value().second.substr(0, 40))};
        }
        if (!csv.scales.emplace(pair.value().first, factor).second) {
            return Error{ErrorKind::kUsage, fmt::format("--scale {} is given twice, expected once",
                                                        pair.value().first)};
        }
    }
    csv.ignored_headers.insert(command.ignored.begin(), command.ignored.end());
    csv.ignore_others = command.ignore_others;
    csv.decimal_comma = command.decimal_comma;
    if (!(command.step_s >= 0 && command.step_s <= 1)) {
        return Error{
            ErrorKind::kUsage,
            fmt::format("--step-s is {}, expected more than 0 and at most 1 s between rows",
                        command.step_s)};
    }
    csv.step_s = command.step_s;
    return Done{};
}

/// Nominal rates: options before profile before standard.
Status take_rates(const ImportCommand& command, const std::optional<record::Profile>& profile,
                  record::ImportOptions& options) {
    const auto in_range = [](double rate, double lo, double hi) {
        return rate == 0 || (rate >= lo && rate <= hi);
    };
    if (!in_range(command.line_rate_hz, 1000, 200000) ||
        !in_range(command.field_rate_hz, 10, 400)) {
        return Error{
            ErrorKind::kUsage,
            fmt::format("--line-rate-hz is {} and --field-rate-hz {}, expected 1000 to 200000 "
                        "and 10 to 400",
                        command.line_rate_hz, command.field_rate_hz)};
    }
    if (!(command.gain_u_pct >= 0 && command.gain_u_pct <= 50)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("--gain-u-pct is {}, expected 0 to 50", command.gain_u_pct)};
    }
    SyncOptions sync;
    sync.standard = command.standard;
    if (!sync.standard.empty() || (profile && !profile->standard.empty())) {
        const Result<ChosenSync> chosen = choose_sync(sync, profile ? &*profile : nullptr);
        if (!chosen) {
            return chosen.error();
        }
        options.line_rate_hz = chosen.value().line_rate_hz;
        options.field_rate_hz = chosen.value().field_rate_hz;
        options.interlaced = chosen.value().settings.half_lines % 2 != 0;
    }
    const auto prefer = [](double wish, double profiled, double& into) {
        into = wish > 0 ? wish : profiled > 0 ? profiled : into;
    };
    prefer(command.line_rate_hz, profile ? profile->line_rate_hz : 0, options.line_rate_hz);
    prefer(command.field_rate_hz, profile ? profile->field_rate_hz : 0, options.field_rate_hz);
    options.gain_u_relative = command.gain_u_pct / 100;
    return Done{};
}

void warn(const record::Import& import, const record::ImportOptions& options, Seams& seams) {
    for (const std::string& warning : import.warnings) {
        seams.err << "warning: " << warning << '\n';
    }
    if (options.line_rate_hz == 0 || options.field_rate_hz == 0) {
        seams.err
            << "warning: without a nominal line and field rate some figures cannot be made; add "
               "--standard NAME, or --line-rate-hz and --field-rate-hz\n";
    }
}

Result<ExitCode> run_import(const ImportCommand& command, Seams& seams) {
    record::Record record;
    record.time_utc = seams.utc_now();
    const std::string record_file = record_path(command.out_file, record.time_utc);
    record::ImportOptions options;
    if (const Status columns = take_columns(command, options.csv); !columns) {
        return columns.error();
    }
    auto profile = load_given_profile(command.profile_file);
    if (!profile) {
        return profile.error();
    }
    record.profile = std::move(profile).value();
    if (const Status rates = take_rates(command, record.profile, options); !rates) {
        return rates.error();
    }
    if (const Status outputs = check_outputs(command.output, record_file); !outputs) {
        return outputs.error();
    }
    options.csv.stopped = [&seams] { return seams.stop.stopped(); };
    Result<record::Import> import = record::import_csv(command.files, options);
    if (!import) {
        return import.error();
    }
    warn(import.value(), options, seams);
    record.tool_version = YOKEDOCK_VERSION;
    record.standard = command.standard;
    record.notes = command.notes;
    record.imported = record::ImportedData{command.files, std::move(import.value().observation)};
    const Evaluation evaluation = evaluate(record.imported->observation, record.profile);
    record.figures = evaluation.figures;
    if (const Status saved = record::save_record(record, record_file, if_exists(command.output));
        !saved) {
        return saved.error();
    }
    const Status shown = show(record, evaluation, command.output, record_file, "import", seams);
    seams.err << "record: " << record_file << '\n';
    return shown ? Result<ExitCode>(ExitCode::kGood) : Result<ExitCode>(shown.error());
}

} // namespace

void set_up_import(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<ImportCommand>();
    Parser command =
        add_command<ImportCommand>(app, chosen, "import", "Figures from oscilloscope files (CSV)",
                                   kGroupFiles, options, run_import);
    command.add_option("csv", options->files, "CSV files; their first column is time_s").required();
    command
        .add_option("--column", options->columns,
                    "NAME=HEADER: the column our NAME is headed HEADER in the file")
        .one_value_at_a_time()
        .group("Columns");
    command
        .add_option("--scale", options->scales,
                    "NAME=FACTOR: multiply a column to get volts, amperes, "
                    "seconds")
        .one_value_at_a_time()
        .group("Columns");
    command.add_option("--ignore", options->ignored, "HEADER of a column to leave out")
        .one_value_at_a_time()
        .group("Columns");
    command
        .add_flag("--ignore-others", options->ignore_others,
                  "leave out every column without a name of ours")
        .group("Columns");
    command
        .add_option("--step-s", options->step_s,
                    "seconds between rows, when the times in the file have too few digits")
        .group("Columns");
    command.add_flag("--decimal-comma", options->decimal_comma, "numbers have a decimal comma")
        .group("Columns");
    command.add_option("--standard", options->standard, "sync standard that the board was fed")
        .group("Rates");
    command.add_option("--line-rate-hz", options->line_rate_hz, "nominal line rate").group("Rates");
    command.add_option("--field-rate-hz", options->field_rate_hz, "nominal field rate")
        .group("Rates");
    command
        .add_option("--gain-u-pct", options->gain_u_pct,
                    "standard uncertainty of probe, shunt and oscilloscope together")
        .show_default();
    command.add_option("--profile", options->profile_file, "profile of the board type (JSON)");
    command.add_option("--note", options->notes, "a note for the record; may be given again")
        .one_value_at_a_time();
    command
        .add_option("--out", options->out_file,
                    "record to write (default: yokedock-TIME.json here)")
        .group("Output");
    add_output_options(command, options->output);
    std::string names;
    for (const std::string& name : record::csv_channel_names()) {
        names += (names.empty() ? "" : " ") + name;
    }
    command.footer("Channel names: " + names +
                   "\n\nExample:\n  yokedock import scope.csv --standard 525/59.94 --column "
                   "v_yoke_a=CH1 --scale v_yoke_a=10 --out board.json");
}

} // namespace yokedock::cli
