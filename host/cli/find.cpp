// SPDX-License-Identifier: MIT
#include "host/cli/command.hpp"
#include "host/record/json_text.hpp"
#include "host/report/json.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <ostream>

namespace yokedock::cli {
namespace {

struct FindCommand {
    std::vector<std::string> addresses;
    bool json = false;
};

struct Found {
    std::string address;
    std::string description;
    std::optional<wire::IdentifyAnswer> identity;
    std::string problem;
};

/// Ports by address, and what the system says of them; nothing is opened yet.
Result<std::vector<Found>> candidates(const FindCommand& options, Seams& seams) {
    std::vector<Found> found;
    for (const std::string& address : options.addresses) {
        if (const auto parsed = link::parse_address(address); !parsed) {
            return parsed.error();
        }
        found.push_back({address, "", {}, ""});
    }
    if (!options.addresses.empty()) {
        return found;
    }
    const auto ports = seams.list_serial_ports();
    if (!ports) {
        return ports.error();
    }
    for (const link::SerialPortInfo& port : ports.value()) {
        found.push_back({port.address, port.description, {}, ""});
    }
    return found;
}

void ask(Found& found, Seams& seams) {
    seams.err << "asking " << found.address << '\n' << std::flush;
    const Result<bench::Bench> bench = seams.open_bench(found.address);
    if (bench) {
        found.identity = bench.value().identity();
    } else {
        found.problem = bench.error().text;
    }
}

std::string identity_text(const wire::IdentifyAnswer& id) {
    return fmt::format(
        "bench serial {}, firmware {}.{}.{}, protocol {}, clock {:.6f} MHz, {} channels, "
        "lines {:.3f} to {:.3f} kHz",
        id.bench_serial, id.firmware_major, id.firmware_minor, id.firmware_patch, id.protocol,
        id.clock_hz / 1e6, id.channels, id.min_line_rate_mhz / 1e6, id.max_line_rate_mhz / 1e6);
}

std::string as_text(const std::vector<Found>& all) {
    std::string out;
    for (const Found& found : all) {
        if (found.identity) {
            out += found.address + '\n' + report::paragraph("  ", identity_text(*found.identity));
        }
    }
    return out;
}

std::string as_json(const std::vector<Found>& all) {
    using Json = nlohmann::ordered_json;
    Json benches = Json::array();
    Json silent = Json::array();
    for (const Found& found : all) {
        if (found.identity) {
            benches.push_back({{"address", found.address},
                               {"bench_serial", found.identity->bench_serial},
                               {"firmware", fmt::format("{}.{}.{}", found.identity->firmware_major,
                                                        found.identity->firmware_minor,
                                                        found.identity->firmware_patch)},
                               {"protocol", found.identity->protocol},
                               {"clock_hz", found.identity->clock_hz}});
        } else {
            silent.push_back({{"address", found.address},
                              {"description", found.description},
                              {"problem", found.problem}});
        }
    }
    return record::json_text({{"schema", report::kOutputSchema},
                              {"command", "find"},
                              {"benches", benches},
                              {"no_bench", silent}});
}

Error nothing_found(const std::vector<Found>& all) {
    return {
        ErrorKind::kLink,
        fmt::format("no bench found: {}, expected one that answers; plug one in, give its address "
                    "(yokedock find tcp:HOST:PORT), or start the virtual bench: "
                    "yokedock_virtual_bench --listen 4100",
                    all.empty() ? "this machine has no serial port"
                                : fmt::format("{} of {} places answered", 0, all.size()))};
}

Result<ExitCode> run_find(const FindCommand& options, Seams& seams) {
    Result<std::vector<Found>> all = candidates(options, seams);
    if (!all) {
        return all.error();
    }
    bool any = false;
    for (Found& found : all.value()) {
        if (seams.stop.stopped()) {
            return Error{ErrorKind::kStopped, "stopped"};
        }
        ask(found, seams);
        any |= found.identity.has_value();
        if (!found.problem.empty()) {
            seams.err << "  no bench there: " << found.problem << '\n';
        }
    }
    seams.out << (options.json ? as_json(all.value()) : as_text(all.value())) << std::flush;
    return any ? Result<ExitCode>(ExitCode::kGood) : Result<ExitCode>(nothing_found(all.value()));
}

} // namespace

void set_up_find(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<FindCommand>();
    Parser command = add_command<FindCommand>(
        app, chosen, "find", "Look for benches, on all serial ports or at the addresses given",
        kGroupBench, options, run_find);
    command.add_option("address", options->addresses,
                       "serial:DEVICE, tcp:HOST:PORT or unix:PATH (default: every serial port)");
    command.add_flag("--json", options->json, "results as JSON");
    command.footer("Opening a serial port resets many microcontroller boards; a bench's supply is "
                   "then off.\n\n"
                   "Example:\n  yokedock find tcp:127.0.0.1:4100");
}

} // namespace yokedock::cli
