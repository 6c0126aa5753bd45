// SPDX-License-Identifier: MIT
#include "tests/unit/bench_docs/sheets.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cctype>
#include <cstdlib>
#include <fstream>
#include <sstream>

namespace yokedock::test {

std::string read_file(const std::string& path) {
    std::ifstream file(YOKEDOCK_ROOT "/" + path);
    INFO(path);
    REQUIRE(file);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

std::vector<std::string> netlist(const std::string& sheet) {
    std::istringstream text(read_file("docs/bench/drawn/" + sheet + ".net"));
    std::vector<std::string> lines;
    for (std::string line; std::getline(text, line);) {
        lines.push_back(line);
    }
    return lines;
}

std::string circuit(const std::vector<std::string>& sheets, const std::string& around) {
    std::string text = read_file("docs/bench/models.lib");
    for (const std::string& sheet : sheets) {
        for (const std::string& line : netlist(sheet)) {
            text += line + "\n";
        }
    }
    std::vector<std::string> at_rest{"stop"};
    if (std::find(sheets.begin(), sheets.end(), "relays") == sheets.end()) {
        for (const char* relay : {"k1on", "k2on", "k3on", "k4on", "k5on"}) {
            at_rest.emplace_back(relay);
        }
    }
    for (const std::string& node : at_rest) {
        if (around.find(" " + node + " ") == std::string::npos) {
            text += "vrest_" + node + " " + node + " 0 0\n";
        }
    }
    return text + around;
}

std::vector<double> settled(const std::string& circuit, const std::vector<std::string>& waves,
                            double end_s, double step_s) {
    const sim::SpiceRun run = sim::run_spice(circuit, waves, step_s, end_s, 0.9 * end_s);
    INFO(run.log);
    REQUIRE(run.time_s.size() > 1);
    REQUIRE(run.time_s.back() == Approx(end_s));
    std::vector<double> values;
    for (const auto& wave : run.value) {
        values.push_back(wave.back());
    }
    return values;
}

double crossing(const sim::SpiceRun& run, std::size_t wave, double level, bool upwards,
                double from_s) {
    const auto& v = run.value[wave];
    for (std::size_t k = 1; k < v.size(); ++k) {
        const bool passed =
            upwards ? v[k - 1] < level && v[k] >= level : v[k - 1] > level && v[k] <= level;
        if (run.time_s[k] > from_s && passed) {
            return run.time_s[k - 1] +
                   (run.time_s[k] - run.time_s[k - 1]) * (level - v[k - 1]) / (v[k] - v[k - 1]);
        }
    }
    return -1;
}

double peak(const sim::SpiceRun& run, std::size_t wave, double from_s) {
    double most = -1e9;
    for (std::size_t k = 0; k < run.time_s.size(); ++k) {
        if (run.time_s[k] >= from_s) {
            most = std::max(most, run.value[wave][k]);
        }
    }
    return most;
}

double spice_number(const std::string& text) {
    char* end = nullptr;
    const double number = std::strtod(text.c_str(), &end);
    const std::string scale = end;
    static const std::map<std::string, double> scales{
        {"", 1}, {"k", 1e3}, {"Meg", 1e6}, {"m", 1e-3}, {"u", 1e-6}, {"n", 1e-9}, {"p", 1e-12}};
    INFO("value " << text);
    REQUIRE(scales.count(scale) == 1);
    return number * scales.at(scale);
}

std::vector<Resistor> resistors(const std::string& sheet) {
    std::vector<Resistor> found;
    for (const std::string& line : netlist(sheet)) {
        std::istringstream fields(line);
        Resistor r;
        std::string value;
        if (line[0] == 'R' && fields >> r.name >> r.from >> r.to >> value) {
            r.ohm = spice_number(value);
            found.push_back(r);
        }
    }
    return found;
}

double value_of(const std::string& sheet, const std::string& name) {
    for (const std::string& line : netlist(sheet)) {
        std::istringstream fields(line);
        std::string card, from, to, value;
        if (fields >> card >> from >> to >> value && card == name) {
            return spice_number(value);
        }
    }
    return 0;
}

std::vector<std::vector<std::string>> table_rows(const std::string& page) {
    std::istringstream text(page);
    std::vector<std::vector<std::string>> rows;
    bool in_table = false; // the first row of a table is its head
    for (std::string line; std::getline(text, line);) {
        if (line.empty() || line[0] != '|') {
            in_table = false;
            continue;
        }
        if (!in_table || line.rfind("|---", 0) == 0) {
            in_table = true;
            continue;
        }
        std::vector<std::string> cells;
        std::istringstream fields(line.substr(1));
        for (std::string cell; std::getline(fields, cell, '|');) {
            const auto first = cell.find_first_not_of(' ');
            const auto last = cell.find_last_not_of(' ');
            cells.push_back(first == std::string::npos ? "" : cell.substr(first, last - first + 1));
        }
        rows.push_back(cells);
    }
    return rows;
}

namespace {

/// "R101 to R105, R110" to single names.
std::vector<std::string> names_of(const std::string& cell) {
    std::vector<std::string> names;
    std::istringstream parts_of(cell);
    for (std::string part; std::getline(parts_of, part, ',');) {
        std::istringstream words(part);
        std::string first, to, last;
        words >> first >> to >> last;
        if (to != "to") {
            names.push_back(first);
            continue;
        }
        const auto digits = first.find_first_of("0123456789");
        const int from = std::stoi(first.substr(digits));
        const int until = std::stoi(last.substr(digits));
        for (int n = from; n <= until; ++n) {
            names.push_back(first.substr(0, digits) + std::to_string(n));
        }
    }
    return names;
}

} // namespace

std::map<std::string, Part> parts() {
    std::map<std::string, Part> list;
    for (const auto& row : table_rows(read_file("docs/bench/parts.md"))) {
        if (row.size() < 6 || row[0].empty() ||
            std::isupper(static_cast<unsigned char>(row[0][0])) == 0) {
            continue;
        }
        for (const std::string& name : names_of(row[0])) {
            INFO(name << " stands in the parts list twice");
            REQUIRE(list.count(name) == 0);
            list[name] = {row[1], std::atof(row[3].c_str()), std::atof(row[4].c_str())};
        }
    }
    return list;
}

} // namespace yokedock::test
