// SPDX-License-Identifier: MIT
// Addresses of benches: "serial:/dev/ttyACM0", "tcp:127.0.0.1:4100", "tcp:[::1]:4100",
// "unix:/run/bench.sock".
#pragma once
#include "host/link/transport.hpp"
#include <memory>

namespace yokedock::link {

enum class AddressKind { kSerial, kTcp, kUnix };

struct Address {
    AddressKind kind = AddressKind::kSerial;
    std::string target; ///< device path, host name or number, or socket path
    std::string port;   ///< tcp only: "1" to "65535"
    std::string text;   ///< as the user gave it
};

/// kUsage when the text is no address.
[[nodiscard]] Result<Address> parse_address(const std::string& text);

/// Opens the port; kLink with what to do about it when that fails. Blocks up to 3 s (tcp connect).
[[nodiscard]] Result<std::unique_ptr<Transport>> open_transport(const Address& address);

} // namespace yokedock::link
