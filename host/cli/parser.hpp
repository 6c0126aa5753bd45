// SPDX-License-Identifier: MIT
// The option parser as the commands see it. CLI11 stands behind it and is included by parser.cpp
// only: every source that includes it takes some seconds more to compile.
#pragma once
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace CLI { // NOLINT(readability-identifier-naming): CLI11's name
class App;
class Option;
} // namespace CLI

namespace yokedock::cli {

/// An option just added; each call returns the option again.
class ParserOption {
  public:
    explicit ParserOption(CLI::Option& option) : option_(&option) {}

    /// Heading of the help text under which it stands.
    ParserOption group(const std::string& heading);
    ParserOption required();
    /// For lists: takes one value each time it is given, so that a name may follow it.
    ParserOption one_value_at_a_time();
    /// The help text names the value that the variable has now.
    ParserOption show_default();
    /// What stands for the value in the help text.
    ParserOption type_name(const std::string& name);

  private:
    CLI::Option* option_;
};

/// A command, or the program itself, to which options are added. A handle: the parser owns the
/// command. A name without dashes is a positional argument. Variables must live until parsing is
/// done.
class Parser {
  public:
    explicit Parser(CLI::App& app) : app_(&app) {}

    ParserOption add_option(const std::string& name, std::string& value, const std::string& help);
    ParserOption add_option(const std::string& name, double& value, const std::string& help);
    /// Stays empty when the option is not given.
    ParserOption add_option(const std::string& name, std::optional<double>& value,
                            const std::string& help);
    ParserOption add_option(const std::string& name, std::vector<std::string>& values,
                            const std::string& help);
    ParserOption add_flag(const std::string& name, bool& value, const std::string& help);

    /// A command under this one; when_named is called once it was parsed, unless empty.
    Parser add_command(const std::string& name, const std::string& what, const std::string& group,
                       std::function<void()> when_named);
    /// One of the commands added must be given.
    void require_command();
    /// Text under the help text.
    void footer(const std::string& text);

  private:
    CLI::App* app_;
};

/// What came of parsing when no command is to be run.
struct ParseStop {
    std::string asked_for; ///< help or version text for standard output; "" after a mistake
    std::string problem;   ///< the mistake, ready for an error message; "" otherwise
};

/// The whole program's parser; owns everything added to it.
class ProgramParser {
  public:
    ProgramParser(const std::string& name, const std::string& what, const std::string& version);
    ~ProgramParser();
    ProgramParser(const ProgramParser&) = delete;
    ProgramParser& operator=(const ProgramParser&) = delete;

    [[nodiscard]] Parser top();
    /// Fills the variables and calls the named command's function; empty when that is all.
    [[nodiscard]] std::optional<ParseStop> parse(const std::vector<std::string>& arguments);

  private:
    std::string name_;
    std::unique_ptr<CLI::App> app_;
};

/// The number that a word is, read as an option's value is; nothing for anything else.
[[nodiscard]] std::optional<double> parse_number(const std::string& word);

} // namespace yokedock::cli
