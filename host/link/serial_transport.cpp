// SPDX-License-Identifier: MIT
#include "host/link/serial_transport.hpp"
#include "host/link/poll_wait.hpp"
#include "shared/wire/messages.hpp"
#include <cerrno>
#include <fmt/format.h>
#include <libserialport.h>

namespace yokedock::link {
namespace {

struct PortFree {
    void operator()(sp_port* port) const { sp_free_port(port); }
};
using Port = std::unique_ptr<sp_port, PortFree>;

/// The last failure of libserialport in words; call it before anything else can change errno.
std::string serial_text(sp_return code) {
    switch (code) {
    case SP_ERR_ARG:
        return "no such port, or not a serial port";
    case SP_ERR_FAIL:
        return system_text(sp_last_error_code());
    case SP_ERR_MEM:
        return "out of memory";
    case SP_ERR_SUPP:
        return "the port does not support it";
    default:
        return "unknown failure";
    }
}

class SerialTransport : public Transport {
  public:
    SerialTransport(Port port, int fd, std::string address)
        : port_(std::move(port)), fd_(fd), address_(std::move(address)) {}
    SerialTransport(const SerialTransport&) = delete;
    SerialTransport& operator=(const SerialTransport&) = delete;
    ~SerialTransport() override { SerialTransport::close(); }

    // libserialport's own waiting reads spin when the port was unplugged, so the wait is ours.
    Result<std::size_t> read(std::span<std::uint8_t> into, Milliseconds timeout) override {
        if (!port_) {
            return lost("it is closed");
        }
        const Ready ready = wait_readable(fd_, timeout);
        if (ready == Ready::kTimeout) {
            return std::size_t{0};
        }
        if (ready == Ready::kGone) {
            return lost("the port hung up");
        }
        const sp_return count = sp_nonblocking_read(port_.get(), into.data(), into.size());
        if (count > 0) {
            return static_cast<std::size_t>(count);
        }
        if (count == SP_ERR_FAIL && (errno == EAGAIN || errno == EINTR)) {
            return std::size_t{0};
        }
        return lost(count == 0 ? "the port is readable but empty, as after unplugging"
                               : serial_text(count));
    }

    Status write_all(Bytes bytes, Milliseconds timeout) override {
        if (!port_) {
            return lost("it is closed");
        }
        while (!bytes.empty()) {
            const sp_return count = sp_nonblocking_write(port_.get(), bytes.data(), bytes.size());
            // A full queue comes back as a failure with EAGAIN (libserialport 0.1.1), not as 0.
            const bool full = count == 0 || (count == SP_ERR_FAIL && errno == EAGAIN);
            if (count > 0) {
                bytes = bytes.subspan(static_cast<std::size_t>(count));
            } else if (full) {
                if (wait_writable(fd_, timeout) != Ready::kYes) {
                    return lost(fmt::format("it took no bytes for {} ms", timeout.count()));
                }
            } else if (errno != EINTR) {
                return lost(serial_text(count));
            }
        }
        return Done{};
    }

    void close() override {
        if (port_) {
            sp_close(port_.get());
            port_.reset();
        }
    }

    std::string kind() const override { return "serial"; }

  private:
    Error lost(const std::string& why) const {
        return {ErrorKind::kLink,
                fmt::format(
                    "link to {} lost: {}; expected an open serial port; check the cable and the "
                    "bench's power, then try again",
                    address_, why)};
    }

    Port port_;
    int fd_;
    std::string address_;
};

sp_return configure(sp_port* port) {
    sp_return code = sp_set_baudrate(port, static_cast<int>(wire::kBaudRate));
    if (code == SP_OK) {
        code = sp_set_bits(port, 8);
    }
    if (code == SP_OK) {
        code = sp_set_parity(port, SP_PARITY_NONE);
    }
    if (code == SP_OK) {
        code = sp_set_stopbits(port, 1);
    }
    return code == SP_OK ? sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE) : code;
}

Error open_error(const Address& address, const std::string& step, sp_return code) {
    const std::string why = serial_text(code);
    const bool denied = code == SP_ERR_FAIL && sp_last_error_code() == EACCES;
    return {ErrorKind::kLink,
            fmt::format("cannot {} {}: {}; expected a serial port that takes {} baud, 8N1; {}",
                        step, address.text, why, wire::kBaudRate,
                        denied
                            ? "join the group that owns the device (often dialout) and log in again"
                            : "`yokedock find` lists the ports there are")};
}

} // namespace

Result<std::unique_ptr<Transport>> open_serial(const Address& address) {
    sp_port* raw = nullptr;
    sp_return code = sp_get_port_by_name(address.target.c_str(), &raw);
    if (code != SP_OK) {
        return open_error(address, "find", code);
    }
    Port port(raw);
    code = sp_open(raw, SP_MODE_READ_WRITE);
    if (code != SP_OK) {
        return open_error(address, "open", code);
    }
    code = configure(raw);
    int fd = -1;
    if (code == SP_OK) {
        code = sp_get_port_handle(raw, &fd);
    }
    if (code != SP_OK) {
        Error error = open_error(address, "set up", code);
        sp_close(raw);
        return error;
    }
    sp_flush(raw, SP_BUF_BOTH);
    return std::unique_ptr<Transport>(
        std::make_unique<SerialTransport>(std::move(port), fd, address.text));
}

Result<std::vector<SerialPortInfo>> list_serial_ports() {
    sp_port** list = nullptr;
    const sp_return code = sp_list_ports(&list);
    if (code != SP_OK) {
        return Error{
            ErrorKind::kLink,
            fmt::format("cannot list the serial ports: {}; expected the system's port list; give "
                        "the address of the bench yourself",
                        serial_text(code))};
    }
    std::vector<SerialPortInfo> ports;
    for (sp_port** each = list; *each != nullptr; ++each) {
        SerialPortInfo info;
        info.address = std::string("serial:") + sp_get_port_name(*each);
        const char* description = sp_get_port_description(*each);
        info.description = description != nullptr ? description : "";
        if (sp_get_port_usb_vid_pid(*each, &info.usb_vendor, &info.usb_product) != SP_OK) {
            info.usb_vendor = info.usb_product = -1;
        }
        ports.push_back(std::move(info));
    }
    sp_free_port_list(list);
    return ports;
}

} // namespace yokedock::link
