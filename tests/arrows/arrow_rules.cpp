// SPDX-License-Identifier: MIT
#include "tests/arrows/arrow_rules.hpp"
#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <sstream>

namespace {

/// In order of use: a module may include itself and what stands before it.
constexpr std::array kModules{"link",     "bench",  "capture", "analysis", "lock",
                              "diagnose", "record", "report",  "cli"};

struct Line {
    std::string file; ///< from the root: "host/link/address.cpp"
    std::size_t number;
    std::string code; ///< without comments; texts kept only in include lines
};

bool starts_with(const std::string& text, const std::string& start) {
    return text.rfind(start, 0) == 0;
}

int module_rank(const std::string& path) {
    for (std::size_t i = 0; i < kModules.size(); ++i) {
        if (starts_with(path, std::string("host/") + kModules[i] + "/")) {
            return static_cast<int>(i);
        }
    }
    return -1; // host/result.hpp and the like: below all modules
}

/// "host/x.hpp" of an include line; "" for other lines.
std::string included(const std::string& code) {
    const auto hash = code.find_first_not_of(" \t");
    if (hash == std::string::npos || code[hash] != '#') {
        return {};
    }
    const auto word = code.find("include", hash);
    if (word == std::string::npos) {
        return {};
    }
    const auto open = code.find_first_of("<\"", word);
    const auto close = open == std::string::npos ? open : code.find_first_of(">\"", open + 1);
    return close == std::string::npos ? "" : code.substr(open + 1, close - open - 1);
}

/// Takes comments and texts out, so that words in them count for nothing. Raw strings are not
/// needed here.
std::string strip(const std::string& line, bool& in_comment) {
    if (!in_comment && !included(line).empty()) {
        return line;
    }
    std::string out;
    bool in_text = false;
    for (std::size_t i = 0; i < line.size(); ++i) {
        const std::string two = line.substr(i, 2);
        if (in_comment) {
            in_comment = two != "*/";
            i += in_comment ? 0U : 1U;
        } else if (in_text) {
            i += line[i] == '\\' ? 1U : 0U;
            in_text = line[i] != '"';
        } else if (two == "//") {
            break;
        } else if (two == "/*") {
            in_comment = true;
            ++i;
        } else if (line[i] == '"') {
            in_text = true;
        } else {
            out += line[i];
        }
    }
    return out;
}

struct Rule {
    const char* where;  ///< start of the paths it holds for
    const char* except; ///< start of the paths it does not hold for; "" none
    bool include;       ///< pattern starts an included name; else stands in the code
    const char* pattern;
    const char* text;
};

/// Everything that is not the order of the host's modules.
constexpr Rule kRules[] = {
    {"", "demo/", true, "demo/", "only demo may use demo"},
    {"", "tests/", true, "tests/", "only tests may use tests"},
    {"shared/", "", true, "host/", "shared may use shared only"},
    {"shared/", "", true, "firmware/", "shared may use shared only"},
    {"firmware/", "", true, "host/", "firmware may use shared and firmware only"},
    {"host/", "", true, "firmware/", "the host meets the firmware only through shared"},
    {"", "firmware/ports/avr/", true, "avr/", "AVR headers belong in firmware/ports/avr"},
    {"", "firmware/ports/avr/", true, "util/", "AVR headers belong in firmware/ports/avr"},
    {"firmware/core/", "", true, "firmware/ports/", "the core knows no port"},
    {"", "demo/virtual_bench/chip/", true, "simavr/", "simavr belongs in demo/virtual_bench/chip"},
    {"", "demo/virtual_bench/chip/", true, "sim_", "simavr belongs in demo/virtual_bench/chip"},
    {"", "demo/virtual_bench/chip/", true, "avr_", "simavr belongs in demo/virtual_bench/chip"},
    {"host/", "host/link/", true, "libserialport", "only link knows a port"},
    {"host/", "host/link/", true, "sys/socket", "only link knows a port"},
    {"host/", "host/link/", true, "termios", "only link knows a port"},
    {"host/", "host/record/", false, "ofstream", "only record writes files"},
    {"host/", "host/record/", false, "O_CREAT", "only record writes files"},
    {"host/", "host/cli/", false, "std::cout", "only cli prints"},
    {"host/", "host/cli/", false, "std::cerr", "only cli prints"},
    {"host/", "host/cli/", false, "std::exit", "only cli ends the program"},
    {"host/", "host/cli/", false, "printf(", "only cli prints"},
};

constexpr std::array kPure{"host/analysis/", "host/lock/", "host/diagnose/", "host/report/"};
constexpr std::array kNotInPureIncludes{"iostream", "fstream", "filesystem", "thread",
                                        "unistd.h", "fcntl.h", "host/link/", "host/bench/"};
constexpr std::array kNotInPureCode{"::now()", "std::time(", "getenv(", "fopen(", "random_device"};

void complain(const Line& line, const std::string& what, const std::string& rule,
              std::vector<std::string>& out) {
    std::ostringstream text;
    text << line.file << ":" << line.number << ": " << what << ": " << rule;
    out.push_back(text.str());
}

void check_order(const Line& line, const std::string& name, std::vector<std::string>& out) {
    const int from = module_rank(line.file);
    const int to = module_rank(name);
    if (starts_with(line.file, "host/") && to > from) {
        complain(line, name,
                 from < 0 ? "files beside the modules stand below all of them"
                          : "a module may use only itself and those before it in order of use",
                 out);
    }
}

void check_rules(const Line& line, const std::string& name, std::vector<std::string>& out) {
    for (const Rule& rule : kRules) {
        const bool holds = starts_with(line.file, rule.where) &&
                           (rule.except[0] == '\0' || !starts_with(line.file, rule.except));
        const bool found = rule.include
                               ? !name.empty() && starts_with(name, rule.pattern)
                               : name.empty() && line.code.find(rule.pattern) != std::string::npos;
        if (holds && found) {
            complain(line, rule.include ? name : rule.pattern, rule.text, out);
        }
    }
}

void check_pure(const Line& line, const std::string& name, std::vector<std::string>& out) {
    if (std::none_of(kPure.begin(), kPure.end(),
                     [&](const char* folder) { return starts_with(line.file, folder); })) {
        return;
    }
    for (const char* start : kNotInPureIncludes) {
        // Sweeps of lock run on a bench; only its decisions are pure, and they have no such include
        // to find.
        const bool sweep = starts_with(line.file, "host/lock/") && starts_with(start, "host/");
        if (!sweep && !name.empty() && starts_with(name, start)) {
            complain(line, name, "values in, values out: no clock, no file, no port here", out);
        }
    }
    for (const char* word : kNotInPureCode) {
        if (name.empty() && line.code.find(word) != std::string::npos) {
            complain(line, word, "values in, values out: no clock, no file, no port here", out);
        }
    }
}

void check_file(const std::filesystem::path& root, const std::filesystem::path& path,
                std::vector<std::string>& out) {
    std::ifstream in(path);
    bool in_comment = false;
    std::size_t number = 0;
    for (std::string text; std::getline(in, text);) {
        const Line line{std::filesystem::relative(path, root).generic_string(), ++number,
                        strip(text, in_comment)};
        const std::string name = included(line.code);
        check_order(line, name, out);
        check_rules(line, name, out);
        check_pure(line, name, out);
    }
}

} // namespace

std::vector<std::string> broken_arrows(const std::string& root) {
    std::vector<std::string> out;
    std::vector<std::filesystem::path> files;
    for (const char* part : {"firmware", "shared", "host", "demo"}) {
        const auto folder = std::filesystem::path(root) / part;
        if (!std::filesystem::exists(folder)) {
            continue;
        }
        for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
            const std::string extension = entry.path().extension().string();
            if (extension == ".cpp" || extension == ".hpp" || extension == ".h" ||
                extension == ".c") {
                files.push_back(entry.path());
            }
        }
    }
    std::sort(files.begin(), files.end());
    for (const auto& file : files) {
        check_file(root, file, out);
    }
    return out;
}
