// SPDX-License-Identifier: MIT
// How a command is made: set-up adds its options to the parser and leaves its action behind.
#pragma once
#include "host/cli/exit_codes.hpp"
#include "host/cli/parser.hpp"
#include "host/cli/seams.hpp"
#include <functional>
#include <memory>
#include <string>

namespace yokedock::cli {

using Action = std::function<Result<ExitCode>(Seams&)>;

/// Options of the command plus what the set-up of all commands shares.
struct Chosen {
    Action action; ///< of the command the user named; empty before parsing
};

/// Adds a command with its options in `Options`; run is called with them after parsing.
template <class Options>
Parser add_command(Parser& app, Chosen& chosen, const std::string& name, const std::string& what,
                   const std::string& group, const std::shared_ptr<Options>& options,
                   Result<ExitCode> (*run)(const Options&, Seams&)) {
    return app.add_command(name, what, group, [&chosen, options, run] {
        chosen.action = [options, run](Seams& seams) { return run(*options, seams); };
    });
}

void set_up_find(Parser& app, Chosen& chosen);
void set_up_measure(Parser& app, Chosen& chosen);
void set_up_run(Parser& app, Chosen& chosen);
void set_up_sweep(Parser& app, Chosen& chosen);
void set_up_analyse(Parser& app, Chosen& chosen);
void set_up_compare(Parser& app, Chosen& chosen);
void set_up_diagnose(Parser& app, Chosen& chosen);
void set_up_import(Parser& app, Chosen& chosen);
void set_up_profile(Parser& app, Chosen& chosen);
void set_up_calibrate(Parser& app, Chosen& chosen);
void set_up_check(Parser& app, Chosen& chosen);

constexpr const char* kGroupBench = "Bench";
constexpr const char* kGroupMeasure = "Measure a board";
constexpr const char* kGroupFiles = "Work with files";

} // namespace yokedock::cli
