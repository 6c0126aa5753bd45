// SPDX-License-Identifier: MIT
#include "tests/bench/matrix/store.hpp"
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>

namespace yokedock::matrix {
namespace {

/// Six digits: far below any uncertainty, and a stored sample stays small.
double rounded(double x) {
    char text[32];
    std::snprintf(text, sizeof text, "%.6g", x);
    return std::strtod(text, nullptr);
}

} // namespace

std::string case_line(const Case& measured) {
    nlohmann::json figures = nlohmann::json::array();
    for (const analysis::Figure& f : measured.figures) {
        if (f.status == analysis::FigureStatus::kMeasured) {
            figures.push_back({f.name, f.unit, rounded(f.value), rounded(analysis::total_u(f))});
        }
    }
    return nlohmann::json{{"design", measured.design},
                          {"fault", measured.fault},
                          {"severity", measured.severity},
                          {"seed", measured.seed},
                          {"figures", std::move(figures)}}
        .dump();
}

std::string expected_line(const Design& design) {
    nlohmann::json all = nlohmann::json::object();
    for (const auto& [name, e] : design.profile.expected) {
        all[name] = {rounded(e.value), rounded(e.half_width())};
    }
    return nlohmann::json{{"design", design.name}, {"expected", std::move(all)}}.dump();
}

Status read_stored(const std::string& path, Stored& into) {
    std::ifstream file(path);
    if (!file) {
        return Error{ErrorKind::kFile, path + " cannot be read"};
    }
    std::string line;
    while (std::getline(file, line)) {
        const auto j = nlohmann::json::parse(line);
        if (j.contains("expected")) {
            auto& expected = into.expected[j["design"]];
            for (const auto& [name, e] : j["expected"].items()) {
                expected[name].value = e[0];
                expected[name].tolerance = e[1];
            }
            continue;
        }
        Case c{j["design"], j["fault"], j["severity"], j["seed"], {}};
        for (const auto& f : j["figures"]) {
            const std::string name = f[0];
            c.figures.push_back(analysis::measured(name, name, f[1], f[2], f[3], 1, "stored"));
        }
        into.cases.push_back(std::move(c));
    }
    return Done{};
}

} // namespace yokedock::matrix
