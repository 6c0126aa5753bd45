// SPDX-License-Identifier: MIT
#pragma once
#include "host/link/address.hpp"
#include <vector>

namespace yokedock::link {

/// Opens the port at wire::kBaudRate, 8N1, no flow control, and discards what it held. Many boards
/// reset when their port is opened: the first exchange needs patience for the boot loader
/// (Requester::identify has it).
[[nodiscard]] Result<std::unique_ptr<Transport>> open_serial(const Address& address);

struct SerialPortInfo {
    std::string address;     ///< ready for parse_address
    std::string description; ///< what the port says of itself; may be empty
    int usb_vendor = -1;     ///< -1: not a USB port
    int usb_product = -1;
};

/// The serial ports this machine has, in the system's order. No port is opened.
[[nodiscard]] Result<std::vector<SerialPortInfo>> list_serial_ports();

} // namespace yokedock::link
