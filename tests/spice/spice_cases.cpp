// SPDX-License-Identifier: MIT
// Every case of the independent circuits, run by ngspice: oscilloscope files for `yokedock import`,
// and the table of agreement with the board model for docs/independent_check.md.
#include "demo/virtual_bench/board/board_file.hpp"
#include "tests/spice/diagnosed.hpp"
#include "tests/spice/page.hpp"
#include "tests/spice/scope.hpp"
#include <filesystem>
#include <fmt/format.h>
#include <fstream>

namespace {

using namespace yokedock;
using namespace yokedock::spice;

constexpr const char* kUsage =
    "Usage: spice_cases FOLDER | --page PAGE | --diagnose\n"
    "FOLDER: writes there one CSV file per case, as an oscilloscope exports it (8 bits; time_s,\n"
    "        v_yoke_a, v_out_v, supply_v at 20 us over 6.3 fields, or h_yoke_a, h_out_v, supply_v "
    "at\n"
    "        0.5 us over 24.4 lines), and cases.csv: axis, fault, file, change.\n"
    "PAGE:   writes the tables of agreement with the board model into that page.\n"
    "--diagnose: what the diagnosis makes of every file, with the healthy circuit's figures\n"
    "        expected; in each list the two healthy ones and the first ten count.\n"
    "Example: spice_cases /tmp/cases\n"
    "         yokedock import /tmp/cases/vertical_boost_cap_open.csv --field-rate-hz 59.94\n";

struct Cases {
    std::vector<Row> rows;
    std::vector<std::string> csv;
};

Cases run_all(const sim::BoardParameters& board) {
    Cases all;
    std::uint32_t seed = 1;
    const auto keep = [&](char axis, const auto& which, const auto& runs, double period_s) {
        if (runs.spice.yoke_a.empty()) {
            throw std::runtime_error(which.id + ": ngspice gave no waveform:\n" + runs.log);
        }
        all.rows.push_back(
            make_row(axis, which.id, which.change,
                     compare(runs.spice, runs.model, period_s, allowed(axis, which.id).retrace)));
        all.csv.push_back(scope_csv(runs.spice, axis, seed++));
    };
    for (const VerticalCase& which : vertical_cases(board)) {
        keep('v', which, run_vertical(which), kFieldS);
    }
    for (const LineCase& which : line_cases(board)) {
        keep('h', which, run_line(which), kLineS);
    }
    return all;
}

void write_files(const Cases& all, const std::filesystem::path& folder) {
    std::filesystem::create_directories(folder);
    std::ofstream list(folder / "cases.csv");
    list << "axis,fault,file,change\n";
    for (std::size_t i = 0; i < all.rows.size(); ++i) {
        const Row& row = all.rows[i];
        const std::string name =
            fmt::format("{}_{}.csv", row.axis == 'v' ? "vertical" : "line", row.id);
        std::ofstream(folder / name) << all.csv[i];
        list << fmt::format("{},{},{},\"{}\"\n", row.axis, row.id, name, row.change);
    }
    fmt::print("{} files in {}\n", all.rows.size() + 1, folder.string());
}

} // namespace

int main(int argc, char** argv) {
    const std::vector<std::string> words(argv + 1, argv + argc);
    if (words.empty() || words[0] == "--help" || (words[0] == "--page") != (words.size() == 2)) {
        fmt::print("{}", kUsage);
        return words.empty() || words[0] != "--help" ? 2 : 0;
    }
    try {
        const auto board = sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json");
        if (!board) {
            throw std::runtime_error(board.error().text);
        }
        if (words[0] == "--diagnose") {
            for (const char axis : {'v', 'h'}) {
                for (const DiagnosedCase& one :
                     diagnose_cases(board.value().parameters, axis, 99)) {
                    fmt::print("{}\n", text(one));
                }
            }
            return 0;
        }
        const Cases all = run_all(board.value().parameters);
        if (words.size() == 2) {
            update_page(words[1], all.rows);
        } else {
            write_files(all, words[0]);
        }
    } catch (const std::exception& error) {
        fmt::print(stderr, "spice_cases: {}\n", error.what());
        return 1;
    }
    return 0;
}
