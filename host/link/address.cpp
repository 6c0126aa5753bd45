// SPDX-License-Identifier: MIT
#include "host/link/address.hpp"
#include "host/link/serial_transport.hpp"
#include "host/link/socket_transport.hpp"
#include <charconv>
#include <fmt/format.h>

namespace yokedock::link {
namespace {

constexpr const char* kExpected =
    "expected serial:/dev/NAME, tcp:HOST:PORT or unix:/PATH, for example serial:/dev/ttyACM0 or "
    "tcp:127.0.0.1:4100; `yokedock find` lists the benches it sees";

Error bad_address(const std::string& text, const std::string& why) {
    return {ErrorKind::kUsage, fmt::format("bench address \"{}\": {}; {}", text, why, kExpected)};
}

bool is_port(const std::string& text) {
    unsigned value = 0;
    const char* end = text.data() + text.size();
    const auto [stop, problem] = std::from_chars(text.data(), end, value);
    return problem == std::errc{} && stop == end && value >= 1 && value <= 65535;
}

Result<Address> parse_tcp(const std::string& text, const std::string& rest) {
    const std::size_t colon = rest.rfind(':');
    if (colon == std::string::npos) {
        return bad_address(text, "it has no port number");
    }
    std::string host = rest.substr(0, colon);
    const std::string port = rest.substr(colon + 1);
    if (host.size() >= 2 && host.front() == '[' && host.back() == ']') {
        host = host.substr(1, host.size() - 2);
    } else if (host.find(':') != std::string::npos) {
        return bad_address(text, "an IPv6 address needs brackets, like tcp:[::1]:4100");
    }
    if (host.empty()) {
        return bad_address(text, "the host name is empty");
    }
    if (!is_port(port)) {
        return bad_address(text, fmt::format("port \"{}\" is not a number from 1 to 65535", port));
    }
    return Address{AddressKind::kTcp, host, port, text};
}

} // namespace

Result<Address> parse_address(const std::string& text) {
    const std::size_t colon = text.find(':');
    if (colon == std::string::npos) {
        return bad_address(text, text.starts_with("/dev/") ? "it lacks \"serial:\" in front"
                                                           : "it names no kind of link");
    }
    const std::string kind = text.substr(0, colon);
    const std::string rest = text.substr(colon + 1);
    if (kind == "tcp") {
        return parse_tcp(text, rest);
    }
    if (kind != "serial" && kind != "unix") {
        return bad_address(text, fmt::format("\"{}\" is no kind of link", kind));
    }
    if (rest.empty()) {
        return bad_address(text, "the path is empty");
    }
    return Address{kind == "serial" ? AddressKind::kSerial : AddressKind::kUnix, rest, "", text};
}

Result<std::unique_ptr<Transport>> open_transport(const Address& address) {
    switch (address.kind) {
    case AddressKind::kSerial:
        return open_serial(address);
    case AddressKind::kTcp:
        return open_tcp(address);
    case AddressKind::kUnix:
        return open_unix(address);
    }
    return Error{ErrorKind::kInternal, "address of unknown kind; please report this"};
}

} // namespace yokedock::link
