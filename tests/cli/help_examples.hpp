// SPDX-License-Identifier: MIT
// The examples that a command's help shows, to be run as they stand.
#pragma once
#include <sstream>
#include <string>
#include <vector>

/// Every line of the help that calls the program, as words without the program's name.
inline std::vector<std::vector<std::string>> help_examples(const std::string& help_text) {
    std::istringstream help(help_text);
    std::vector<std::vector<std::string>> out;
    bool examples = false;
    for (std::string line; std::getline(help, line);) {
        examples = examples || line.rfind("Example", 0) == 0;
        std::istringstream words(line);
        std::string word;
        words >> word;
        if (examples && word == "yokedock") {
            out.emplace_back();
            while (words >> word) {
                out.back().push_back(word);
            }
        }
    }
    return out;
}
