// SPDX-License-Identifier: MIT
// The pages of docs/bench against the drawn netlists, the firmware's pins and the channel table.
#include "shared/channels.hpp"
#include "tests/unit/bench_docs/sheets.hpp"
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <regex>
#include <set>
#include <sstream>

using namespace yokedock;
using namespace yokedock::test;

namespace {

const char* const kSheets[] = {"sync",  "load",   "inputs", "retrace", "power",
                               "guard", "relays", "step",   "supply"};
const char* const kPages[] = {"README.md",         "parts.md",    "wiring.md",
                              "first_hardware.md", "flashing.md", "loads.md"};

std::string page(const std::string& name) {
    return read_file("docs/bench/" + name);
}

/// Drawn pins of the controller: pin to net, of all sheets.
std::map<std::string, std::string> drawn_pins() {
    std::map<std::string, std::string> pins;
    for (const char* sheet : kSheets) {
        for (const std::string& line : netlist(sheet)) {
            std::istringstream fields(line);
            std::string star, kind, pin, net;
            if (fields >> star >> kind >> pin >> net && star == "*" && kind == "pin") {
                pins[pin] = net;
            }
        }
    }
    return pins;
}

/// The checksum of POSIX cksum: CRC 0x04C11DB7 over the bytes and their count.
std::uint32_t cksum(const std::string& bytes) {
    std::uint32_t crc = 0;
    const auto take = [&crc](unsigned char byte) {
        crc ^= static_cast<std::uint32_t>(byte) << 24;
        for (int bit = 0; bit < 8; ++bit) {
            crc = (crc << 1) ^ ((crc & 0x80000000U) != 0 ? 0x04C11DB7U : 0U);
        }
    };
    for (const char c : bytes) {
        take(static_cast<unsigned char>(c));
    }
    for (std::size_t n = bytes.size(); n != 0; n >>= 8) {
        take(static_cast<unsigned char>(n & 0xFF));
    }
    return ~crc;
}

} // namespace

TEST_CASE("bench pages: pictures and netlists were drawn from the sheets as they are") {
    REQUIRE(cksum("123456789") ==
            930766865U); // POSIX cksum, published check value of the algorithm
    std::vector<std::string> symbols;
    for (const auto& entry :
         std::filesystem::directory_iterator(std::string(YOKEDOCK_ROOT) + "/docs/bench/symbols")) {
        symbols.push_back(entry.path().filename());
    }
    std::sort(symbols.begin(), symbols.end());
    std::string drawn_with;
    for (const std::string& symbol : symbols) {
        drawn_with += read_file("docs/bench/symbols/" + symbol);
    }
    for (const std::string sheet : kSheets) {
        INFO(sheet << ": stale? docs/bench/draw (package lepton-eda) makes it anew");
        const std::string mark =
            "drawn from " + sheet + ".sch, checksum " +
            std::to_string(cksum(read_file("docs/bench/" + sheet + ".sch") + drawn_with));
        CHECK(read_file("docs/bench/drawn/" + sheet + ".net").find(mark) != std::string::npos);
        CHECK(read_file("docs/bench/drawn/" + sheet + ".svg").find(mark) != std::string::npos);
        CHECK(page("README.md").find("(drawn/" + sheet + ".svg)") != std::string::npos);
    }
}

TEST_CASE("bench pages: the pin table is that of the firmware, the channel table and the drawing") {
    const std::string pins_hpp = read_file("firmware/ports/avr/pins.hpp");
    std::set<std::string> constants; // every pin constant must have its row
    const std::regex constant("(k[A-Za-z]+Pin) =\\s+1 << P");
    for (std::sregex_iterator at(pins_hpp.begin(), pins_hpp.end(), constant), end; at != end;
         ++at) {
        constants.insert((*at)[1]);
    }
    REQUIRE(constants.size() >= 7);
    REQUIRE(pins_hpp.find("YOKEDOCK_RELAY_PORT PORTA") != std::string::npos);
    std::smatch mask;
    REQUIRE(std::regex_search(pins_hpp, mask, std::regex("kRelayMask = 0x([0-9A-Fa-f]+)")));
    unsigned relay_bits = static_cast<unsigned>(std::stoul(mask[1], nullptr, 16));
    std::set<std::string> channels;
    for (const Channel& c : kChannels) {
        channels.insert(c.name);
    }
    auto drawn = drawn_pins();
    for (const char* supply : {"VIN", "5V", "GND"}) {
        CHECK(drawn.erase(supply) == 1);
    }
    for (const auto& row : table_rows(page("wiring.md"))) {
        if (row.size() != 6) {
            continue; // terminals
        }
        const std::string& pin = row[0];
        const std::string& firmware = row[4];
        INFO("row of pin " << pin);
        CHECK(drawn[pin] == row[2]);
        drawn.erase(pin);
        if (firmware[0] == 'k' && firmware.rfind("kRelayMask", 0) != 0) {
            CHECK(std::regex_search(pins_hpp, std::regex(firmware + " =\\s+1 << " + pin + ";")));
            constants.erase(firmware);
        } else if (firmware.rfind("kRelayMask bit ", 0) == 0) {
            CHECK(firmware.substr(15) == pin.substr(2));
            CHECK(pin.substr(0, 2) == "PA");
            CHECK(row[5].rfind("K" + std::to_string(std::stoi(pin.substr(2)) + 1) + ",", 0) == 0);
            relay_bits ^= 1U << std::stoi(pin.substr(2));
        } else if (firmware.rfind("ICP", 0) == 0) {
            CHECK(pins_hpp.find(firmware + " (" + pin + ")") != std::string::npos);
        } else if (firmware == "not driven yet") {
            CHECK(pins_hpp.find(pin + ";") == std::string::npos);
        } else {
            CHECK(pin.substr(0, 2) == "PF");
            const auto n = static_cast<std::size_t>(std::stoi(pin.substr(2)));
            CHECK(firmware == kChannels[n].name);
            CHECK(row[5] == "ADC" + pin.substr(2));
            channels.erase(firmware);
        }
    }
    for (const auto& left : drawn) {
        FAIL_CHECK("drawn pin without a row: " << left.first);
    }
    for (const std::string& left : constants) {
        FAIL_CHECK("pin of the firmware without a row: " << left);
    }
    for (const std::string& left : channels) {
        FAIL_CHECK("channel without a row: " << left);
    }
    CHECK(relay_bits == 0);
}

TEST_CASE("bench pages: the parts list holds what is drawn, with the drawn values, and no more") {
    auto list = parts();
    std::set<std::string> used;
    for (const char* sheet : kSheets) {
        for (const std::string& line : netlist(sheet)) {
            std::istringstream fields(line);
            std::string name, second, third, value;
            fields >> name >> second >> third >> value;
            if (name == "*") {
                if (second == "terminal" || second == "jumper") {
                    name = third.substr(0, third.find('-'));
                } else {
                    continue;
                }
            } else if (name[0] == 'X') { // "XU101A": a section of U101
                name = name.substr(1);
                if (std::isalpha(static_cast<unsigned char>(name.back())) != 0) {
                    name.pop_back();
                }
            } else if (name[0] == 'R' || name[0] == 'C') {
                INFO(name);
                CHECK(list[name].value == value);
            }
            INFO(sheet << ": " << name);
            CHECK(list.count(name) == 1);
            used.insert(name);
        }
    }
    for (const auto& part : list) {
        INFO(part.first << " stands in the list but is not drawn");
        CHECK(used.count(part.first) == 1);
        if (part.first[0] == 'R') {
            CHECK(part.second.power_w > 0);
            CHECK(part.second.volts > 0);
        } else if (part.first[0] == 'C') {
            CHECK(part.second.volts > 0);
        }
    }
}

TEST_CASE("bench pages: every page begins with its cautions, and its links lead somewhere") {
    const std::filesystem::path folder = std::string(YOKEDOCK_ROOT) + "/docs/bench";
    const std::regex link("\\]\\(([^)#]+)(#[^)]*)?\\)");
    for (const char* name : kPages) {
        const std::string text = page(name);
        INFO(name);
        CHECK(text.find("\n> **") < 400);
        for (std::sregex_iterator at(text.begin(), text.end(), link), end; at != end; ++at) {
            INFO((*at)[1].str());
            CHECK(std::filesystem::exists(folder / (*at)[1].str()));
        }
    }
    // Line breaks may fall anywhere.
    const std::string cautions = std::regex_replace(page("README.md"), std::regex("\n(> )?"), " ");
    for (const char* word :
         {"anode", "isolation transformer", "one hand", "Reservoirs", "far below", "X-ray"}) {
        INFO(word);
        CHECK(cautions.find(word) < 1200);
    }
}

TEST_CASE("bench pages: heat in the load recipes follows from their current and resistance") {
    std::size_t rows = 0;
    for (const auto& row : table_rows(page("loads.md"))) {
        if (row.size() != 8) {
            continue;
        }
        INFO(row[0]);
        const double coil_ohm = std::stod(row[2]);
        const double added_ohm = std::stod(row[3]);
        const double amps_pp = std::stod(row[4]);
        const double mean_square = amps_pp * amps_pp / 12; // of a sawtooth without a mean
        // Told to two digits.
        CHECK(std::stod(row[5]) ==
              Approx(mean_square * coil_ohm * 1.2).epsilon(0.05)); // hot copper
        CHECK(std::stod(row[6]) == Approx(mean_square * added_ohm).epsilon(0.05).margin(0.005));
        if (added_ohm > 0) {
            CHECK(std::stod(row[7]) >= 3 * std::stod(row[6])); // the resistor to fit, watts
        }
        ++rows;
    }
    CHECK(rows >= 6);
}
