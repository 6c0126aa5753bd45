// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include <algorithm>
#include <ostream>

namespace yokedock::cli {
namespace {

void print_error(const Error& error, Seams& seams) {
    seams.err << "yokedock: " << error.text << '\n' << std::flush;
}

ExitCode run_action(const Action& action, Seams& seams) {
    const Result<ExitCode> result = action(seams);
    if (result) {
        return result.value();
    }
    print_error(result.error(), seams);
    return exit_code_of(result.error().kind);
}

/// Help and version are results; every other complaint of the parser is a usage error.
ExitCode parse_failed(const CLI::App& app, const CLI::ParseError& error, Seams& seams) {
    if (error.get_exit_code() == 0) {
        app.exit(error, seams.out, seams.err);
        return ExitCode::kGood;
    }
    std::string command;
    for (const CLI::App* at = &app; !at->get_subcommands().empty();) {
        at = at->get_subcommands().front();
        command += " " + at->get_name();
    }
    print_error(
        {ErrorKind::kUsage, std::string(error.what()) + "; see yokedock" + command + " --help"},
        seams);
    return ExitCode::kUsage;
}

} // namespace

int run_yokedock(const std::vector<std::string>& arguments, Seams& seams) {
    CLI::App app("yokedock: run a CRT deflection board on the bench and measure it", "yokedock");
    app.set_version_flag("--version", "yokedock " YOKEDOCK_VERSION);
    app.require_subcommand(1);
    app.get_formatter()->column_width(34);
    app.footer(
        "Exit codes:\n" + exit_code_help() +
        "\nExample:\n  yokedock find tcp:127.0.0.1:4100\n\nyokedock COMMAND --help tells more.");
    Chosen chosen;
    set_up_find(app, chosen);
    set_up_calibrate(app, chosen);
    set_up_run(app, chosen);
    set_up_measure(app, chosen);
    set_up_sweep(app, chosen);
    set_up_analyse(app, chosen);
    set_up_import(app, chosen);
    set_up_profile(app, chosen);
    std::vector<std::string> reversed(arguments.rbegin(),
                                      arguments.rend()); // CLI11 takes them from the back
    ExitCode code = ExitCode::kOurFault;
    try {
        app.parse(reversed);
        code = run_action(chosen.action, seams);
    } catch (const CLI::ParseError& error) {
        code = parse_failed(app, error, seams);
    } catch (const std::bad_alloc&) {
        print_error({ErrorKind::kInternal,
                     "out of memory, expected enough for the file or capture at "
                     "hand; close programs or use a shorter one"},
                    seams);
    } catch (const std::exception& error) {
        print_error({ErrorKind::kInternal, std::string("unexpected: ") + error.what() +
                                               "; this is a fault of yokedock, please report it"},
                    seams);
    }
    seams.out.flush();
    if (!seams.out && code == ExitCode::kGood) {
        print_error(
            {ErrorKind::kFile, "cannot write the results to standard output; is its disc full?"},
            seams);
        code = ExitCode::kBadFile;
    }
    return static_cast<int>(code);
}

} // namespace yokedock::cli
