// SPDX-License-Identifier: MIT
#include "host/record/csv_cells.hpp"
#include <algorithm>
#include <array>

namespace yokedock::record {
namespace {

struct Word {
    const char* text;
    double factor;
    char quantity;
};

constexpr Word kWords[] = {
    {"s", 1, 's'},     {"sec", 1, 's'},    {"second", 1, 's'},  {"seconds", 1, 's'},
    {"ms", 1e-3, 's'}, {"us", 1e-6, 's'},  {"ns", 1e-9, 's'},   {"ps", 1e-12, 's'},
    {"v", 1, 'V'},     {"volt", 1, 'V'},   {"volts", 1, 'V'},   {"mv", 1e-3, 'V'},
    {"uv", 1e-6, 'V'}, {"kv", 1e3, 'V'},   {"a", 1, 'A'},       {"amp", 1, 'A'},
    {"amps", 1, 'A'},  {"ampere", 1, 'A'}, {"amperes", 1, 'A'}, {"ma", 1e-3, 'A'},
    {"ua", 1e-6, 'A'}, {"degc", 1, 'C'},   {"\u00b0c", 1, 'C'},
};

bool valid_utf8(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const auto lead = static_cast<unsigned char>(text[i]);
        const std::size_t more = lead < 0x80                    ? 0
                                 : lead >= 0xC2 && lead <= 0xDF ? 1
                                 : lead >= 0xE0 && lead <= 0xEF ? 2
                                 : lead >= 0xF0 && lead <= 0xF4 ? 3
                                                                : text.size();
        if (i + more >= text.size()) {
            return false;
        }
        for (std::size_t k = 1; k <= more; ++k) {
            if ((static_cast<unsigned char>(text[i + k]) & 0xC0) != 0x80) {
                return false;
            }
        }
        i += more + 1;
    }
    return true;
}

} // namespace

std::optional<CellUnit> cell_unit(std::string_view cell) {
    std::string word;
    for (std::size_t i = 0; i < cell.size(); ++i) {
        const char c = cell[i];
        const std::string_view pair = cell.substr(i, 2);
        if (pair == "\u00b5" || pair == "\u03bc") { // micro sign, Greek mu
            word += 'u';
            ++i;
        } else if (c != '(' && c != ')' && c != '[' && c != ']' && c != ' ') {
            word += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
        }
    }
    if (word.empty()) {
        return CellUnit{1, 0};
    }
    const auto* const found = std::find_if(std::begin(kWords), std::end(kWords),
                                           [&](const Word& w) { return word == w.text; });
    if (found == std::end(kWords)) {
        return std::nullopt;
    }
    return CellUnit{found->factor, found->quantity};
}

std::optional<CellUnit> header_unit(std::string_view header) {
    if (header.empty() || (header.back() != ')' && header.back() != ']')) {
        return std::nullopt;
    }
    const auto open = header.find_last_of("([");
    const auto unit =
        open == std::string_view::npos ? std::nullopt : cell_unit(header.substr(open));
    return unit && unit->quantity != 0 ? unit : std::nullopt;
}

std::string as_utf8(std::string_view line) {
    if (valid_utf8(line)) {
        return std::string(line);
    }
    std::string out;
    for (const char c : line) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x80) {
            out += c;
        } else {
            out += static_cast<char>(0xC0 | (byte >> 6));
            out += static_cast<char>(0x80 | (byte & 0x3F));
        }
    }
    return out;
}

} // namespace yokedock::record
