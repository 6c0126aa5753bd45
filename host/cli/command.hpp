// SPDX-License-Identifier: MIT
// How a command is made: set-up adds its options to the parser and leaves its action behind.
#pragma once
#include "host/cli/exit_codes.hpp"
#include "host/cli/seams.hpp"
#include <CLI/CLI.hpp>
#include <functional>
#include <memory>

namespace yokedock::cli {

using Action = std::function<Result<ExitCode>(Seams&)>;

/// Options of the command plus what the set-up of all commands shares.
struct Chosen {
    Action action; ///< of the command the user named; empty before parsing
};

/// Adds a command with its options in `Options`; run is called with them after parsing.
template <class Options>
CLI::App* add_command(CLI::App& app, Chosen& chosen, const std::string& name,
                      const std::string& what, const std::string& group,
                      const std::shared_ptr<Options>& options,
                      Result<ExitCode> (*run)(const Options&, Seams&)) {
    CLI::App* command = app.add_subcommand(name, what)->group(group);
    command->callback([&chosen, options, run] {
        chosen.action = [options, run](Seams& seams) { return run(*options, seams); };
    });
    return command;
}

void set_up_find(CLI::App& app, Chosen& chosen);
void set_up_measure(CLI::App& app, Chosen& chosen);
void set_up_run(CLI::App& app, Chosen& chosen);
void set_up_sweep(CLI::App& app, Chosen& chosen);
void set_up_analyse(CLI::App& app, Chosen& chosen);
void set_up_import(CLI::App& app, Chosen& chosen);
void set_up_profile(CLI::App& app, Chosen& chosen);
void set_up_calibrate(CLI::App& app, Chosen& chosen);

constexpr const char* kGroupBench = "Bench";
constexpr const char* kGroupMeasure = "Measure a board";
constexpr const char* kGroupFiles = "Work with files";

} // namespace yokedock::cli
