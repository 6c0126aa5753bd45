// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/cli/parser.hpp"
#include <new>
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
ExitCode parse_stopped(const ParseStop& stop, Seams& seams) {
    if (stop.problem.empty()) {
        seams.out << stop.asked_for;
        return ExitCode::kGood;
    }
    print_error({ErrorKind::kUsage, stop.problem}, seams);
    return ExitCode::kUsage;
}

} // namespace

int run_yokedock(const std::vector<std::string>& arguments, Seams& seams) {
    ProgramParser program("yokedock",
                          "yokedock: run a CRT deflection board on the bench and measure it",
                          "yokedock " YOKEDOCK_VERSION);
    Parser top = program.top();
    top.require_command();
    top.footer(
        "Exit codes:\n" + exit_code_help() +
        "\nExample:\n  yokedock find tcp:127.0.0.1:4100\n\nyokedock COMMAND --help tells more.");
    Chosen chosen;
    set_up_find(top, chosen);
    set_up_check(top, chosen);
    set_up_calibrate(top, chosen);
    set_up_run(top, chosen);
    set_up_measure(top, chosen);
    set_up_sweep(top, chosen);
    set_up_analyse(top, chosen);
    set_up_compare(top, chosen);
    set_up_diagnose(top, chosen);
    set_up_import(top, chosen);
    set_up_profile(top, chosen);
    ExitCode code = ExitCode::kOurFault;
    try {
        const auto stop = program.parse(arguments);
        code = stop ? parse_stopped(*stop, seams) : run_action(chosen.action, seams);
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
        print_error({ErrorKind::kFile,
                     "cannot write the results to standard output; is its disc full, or "
                     "was the reader gone?"},
                    seams);
        code = ExitCode::kBadFile;
    }
    return static_cast<int>(code);
}

} // namespace yokedock::cli
