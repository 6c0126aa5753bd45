// SPDX-License-Identifier: MIT
#include "host/cli/parser.hpp"
#include <CLI/CLI.hpp>
#include <sstream>
#include <utility>

namespace yokedock::cli {
namespace {

/// A word that is unknown is the mistake, not what is missing because it was misspelt.
std::string problem(const CLI::App& command, const std::string& complaint,
                    const std::string& name) {
    const std::vector<std::string> unknown = command.remaining();
    if (unknown.empty()) {
        return complaint;
    }
    std::string names;
    for (const CLI::App* each : command.get_subcommands([](const CLI::App*) { return true; })) {
        names += (names.empty() ? "" : ", ") + each->get_name();
    }
    if (unknown.front().rfind('-', 0) == 0) {
        return '"' + unknown.front() + "\" is no option of " + name;
    }
    return '"' + unknown.front() + "\" is not understood by " + name + ", expected " +
           (names.empty() ? "options and the files or addresses it takes" : "one of " + names);
}

} // namespace

ParserOption ParserOption::group(const std::string& heading) {
    option_->group(heading);
    return *this;
}

ParserOption ParserOption::required() {
    option_->required();
    return *this;
}

ParserOption ParserOption::one_value_at_a_time() {
    option_->allow_extra_args(false);
    return *this;
}

ParserOption ParserOption::show_default() {
    option_->capture_default_str();
    return *this;
}

ParserOption ParserOption::type_name(const std::string& name) {
    option_->type_name(name);
    return *this;
}

ParserOption Parser::add_option(const std::string& name, std::string& value,
                                const std::string& help) {
    return ParserOption(*app_->add_option(name, value, help));
}

ParserOption Parser::add_option(const std::string& name, double& value, const std::string& help) {
    return ParserOption(*app_->add_option(name, value, help));
}

ParserOption Parser::add_option(const std::string& name, std::optional<double>& value,
                                const std::string& help) {
    return ParserOption(*app_->add_option(name, value, help));
}

ParserOption Parser::add_option(const std::string& name, std::vector<std::string>& values,
                                const std::string& help) {
    return ParserOption(*app_->add_option(name, values, help));
}

ParserOption Parser::add_flag(const std::string& name, bool& value, const std::string& help) {
    return ParserOption(*app_->add_flag(name, value, help));
}

Parser Parser::add_command(const std::string& name, const std::string& what,
                           const std::string& group, std::function<void()> when_named) {
    CLI::App* command = app_->add_subcommand(name, what)->group(group);
    if (when_named) {
        command->callback(std::move(when_named));
    }
    return Parser(*command);
}

void Parser::require_command() {
    app_->require_subcommand(1);
}

void Parser::footer(const std::string& text) {
    app_->footer(text);
}

ProgramParser::ProgramParser(const std::string& name, const std::string& what,
                             const std::string& version)
    : name_(name), app_(std::make_unique<CLI::App>(what, name)) {
    app_->set_version_flag("--version", version);
    app_->get_formatter()->column_width(34);
}

ProgramParser::~ProgramParser() = default;

Parser ProgramParser::top() {
    return Parser(*app_);
}

std::optional<ParseStop> ProgramParser::parse(const std::vector<std::string>& arguments) {
    std::vector<std::string> reversed(arguments.rbegin(),
                                      arguments.rend()); // CLI11 takes them from the back
    try {
        app_->parse(reversed);
    } catch (const CLI::ParseError& error) {
        if (error.get_exit_code() == 0) {
            std::ostringstream shown;
            app_->exit(error, shown, shown);
            return ParseStop{shown.str(), ""};
        }
        std::string command = name_;
        const CLI::App* deepest = app_.get();
        while (!deepest->get_subcommands().empty()) {
            deepest = deepest->get_subcommands().front();
            command += " " + deepest->get_name();
        }
        return ParseStop{"",
                         problem(*deepest, error.what(), command) + "; see " + command + " --help"};
    }
    return {};
}

std::optional<double> parse_number(const std::string& word) {
    double number = 0;
    if (!CLI::detail::lexical_cast(word, number)) {
        return {};
    }
    return number;
}

} // namespace yokedock::cli
