// SPDX-License-Identifier: MIT
#include "tests/spice/page.hpp"
#include <cmath>
#include <fmt/format.h>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

namespace yokedock::spice {

namespace {

constexpr const char* kEnd = "<!-- end -->";

std::string begin_mark(char axis) {
    return fmt::format("<!-- table {} -->\n", axis);
}

std::string read_page(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    if (!in) {
        throw std::runtime_error("cannot read " + path);
    }
    return {std::istreambuf_iterator<char>(in), {}};
}

/// Where the table of an axis begins and ends in the page.
std::pair<std::size_t, std::size_t> table_place(const std::string& page, char axis) {
    const std::string mark = begin_mark(axis);
    const std::size_t begin = page.find(mark);
    const std::size_t end = page.find(kEnd, begin == std::string::npos ? 0 : begin);
    if (begin == std::string::npos || end == std::string::npos) {
        throw std::runtime_error("the page has no lines \"" + mark.substr(0, mark.size() - 1) +
                                 "\" and \"" + kEnd + "\"");
    }
    return {begin + mark.size(), end};
}

std::string table(char axis, const std::vector<Row>& rows) {
    std::string text =
        "| fault | change | current, % | node, % | retrace, us | node pulse, us | peak, V |\n"
        "|---|---|---|---|---|---|---|\n";
    for (const Row& r : rows) {
        if (r.axis == axis) {
            const int digits = axis == 'v' ? 0 : 2;
            text += fmt::format("| {} | {} | {:.1f} | {:.1f} | {:.{}f} / {:.{}f} | {:.{}f} / "
                                "{:.{}f} | {:.1f} / {:.1f} |\n",
                                r.id, r.change, r.current_pct, r.node_pct, r.retrace_spice_us,
                                digits, r.retrace_model_us, digits, r.pulse_spice_us, digits,
                                r.pulse_model_us, digits, r.peak_spice_v, r.peak_model_v);
        }
    }
    return text;
}

} // namespace

Row make_row(char axis, const std::string& id, const std::string& change, const Agreement& a) {
    const double real = deflects(a) ? 1 : 0;
    return {axis,
            id,
            change,
            100 * real * a.current,
            100 * a.node,
            1e6 * real * a.retrace_spice_s,
            1e6 * real * a.retrace_model_s,
            1e6 * a.width_spice_s,
            1e6 * a.width_model_s,
            a.peak_spice_v,
            a.peak_model_v};
}

void update_page(const std::string& path, const std::vector<Row>& rows) {
    std::string page = read_page(path);
    for (const char axis : {'v', 'h'}) {
        const auto [begin, end] = table_place(page, axis);
        page.replace(begin, end - begin, table(axis, rows));
    }
    std::ofstream out(path, std::ios::binary);
    if (!(out << page)) {
        throw std::runtime_error("cannot write " + path);
    }
}

std::optional<Row> read_row(const std::string& path, char axis, const std::string& id) {
    const std::string page = read_page(path);
    const auto [begin, end] = table_place(page, axis);
    std::istringstream lines(page.substr(begin, end - begin));
    for (std::string line; std::getline(lines, line);) {
        std::vector<std::string> cells;
        std::istringstream in(line);
        for (std::string cell; std::getline(in, cell, '|');) {
            cells.push_back(cell);
        }
        if (cells.size() < 8 || cells[1] != " " + id + " ") {
            continue;
        }
        const auto pair = [&](std::size_t k, double& first, double& second) {
            std::istringstream numbers(cells[k]);
            std::string slash;
            numbers >> first >> slash >> second;
        };
        Row r{axis, id, cells[2], std::stod(cells[3]), std::stod(cells[4]), 0, 0, 0, 0, 0, 0};
        pair(5, r.retrace_spice_us, r.retrace_model_us);
        pair(6, r.pulse_spice_us, r.pulse_model_us);
        pair(7, r.peak_spice_v, r.peak_model_v);
        return r;
    }
    return std::nullopt;
}

} // namespace yokedock::spice
