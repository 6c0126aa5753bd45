// SPDX-License-Identifier: MIT
// The drawn netlists of docs/bench, taken as they are: nothing of them is typed again here. A test
// adds sources and loads around them and asks ngspice.
#pragma once
#include "tests/unit/board/spice.hpp"
#include <map>
#include <string>
#include <vector>

namespace yokedock::test {

/// File below the project's root; fails the test when it is not there.
std::string read_file(const std::string& path);

/// Lines of docs/bench/drawn/NAME.net.
std::vector<std::string> netlist(const std::string& sheet);

/// Models, the named sheets, and `around` (sources, loads, initial conditions). Relay states and
/// stop button are sources set to 0 (at rest) unless `around` sets a node of theirs ("vk1 k1on 0
/// 12") or the sheet "relays", which drives the former, is among the named.
std::string circuit(const std::vector<std::string>& sheets, const std::string& around);

/// Values of `waves` at the end of end_s from all zero; steps of at most step_s.
std::vector<double> settled(const std::string& circuit, const std::vector<std::string>& waves,
                            double end_s, double step_s);

/// First time after from_s at which the wave passes level upwards (or downwards); -1: never.
double crossing(const sim::SpiceRun& run, std::size_t wave, double level, bool upwards,
                double from_s = 0);

/// Largest value after from_s.
double peak(const sim::SpiceRun& run, std::size_t wave, double from_s = 0);

struct Resistor {
    std::string name, from, to;
    double ohm;
};
std::vector<Resistor> resistors(const std::string& sheet);
/// Value of a card such as "C201"; 0 when there is none.
double value_of(const std::string& sheet, const std::string& name);
/// "4.7k", "1.65Meg", "22n" as ngspice reads them; the two letters after a number are its scale.
double spice_number(const std::string& text);

/// Rows of the tables in a page: cells without blanks at their ends; heads and rules left out.
std::vector<std::vector<std::string>> table_rows(const std::string& page);

struct Part {
    std::string value;
    double power_w = 0; ///< 0: none stated
    double volts = 0;
};
/// Parts list by designator, ranges ("R101 to R105") and lists taken apart.
std::map<std::string, Part> parts();

} // namespace yokedock::test
