// SPDX-License-Identifier: MIT
#include "host/link/socket_transport.hpp"
#include "host/link/poll_wait.hpp"
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace yokedock::link {
namespace {

Error link_error(const std::string& what, const std::string& received, const std::string& cure) {
    return {ErrorKind::kLink, fmt::format("{}: {}; {}", what, received, cure)};
}

class SocketTransport : public Transport {
  public:
    SocketTransport(int fd, std::string kind, std::string address)
        : fd_(fd), kind_(std::move(kind)), address_(std::move(address)) {}
    SocketTransport(const SocketTransport&) = delete;
    SocketTransport& operator=(const SocketTransport&) = delete;
    ~SocketTransport() override { SocketTransport::close(); }

    Result<std::size_t> read(std::span<std::uint8_t> into, Milliseconds timeout) override {
        const Ready ready = wait_readable(fd_, timeout);
        if (ready == Ready::kTimeout) {
            return std::size_t{0};
        }
        if (ready == Ready::kYes) {
            const ssize_t count = ::recv(fd_, into.data(), into.size(), 0);
            if (count > 0) {
                return static_cast<std::size_t>(count);
            }
            if (count < 0 && (errno == EAGAIN || errno == EINTR)) {
                return std::size_t{0};
            }
            return lost(count == 0 ? "the other end closed it" : system_text(errno));
        }
        return lost("the other end hung up");
    }

    Status write_all(Bytes bytes, Milliseconds timeout) override {
        while (!bytes.empty()) {
            const auto count = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
            if (count > 0) {
                bytes = bytes.subspan(static_cast<std::size_t>(count));
            } else if (errno == EAGAIN) {
                if (wait_writable(fd_, timeout) != Ready::kYes) {
                    return lost(fmt::format("it took no bytes for {} ms", timeout.count()));
                }
            } else if (errno != EINTR) {
                return lost(system_text(errno));
            }
        }
        return Done{};
    }

    void close() override {
        if (fd_ >= 0) {
            ::close(fd_);
            fd_ = -1;
        }
    }

    std::string kind() const override { return kind_; }

  private:
    Error lost(const std::string& why) const {
        return link_error(
            fmt::format("link to {} lost", address_), why,
            "expected an open stream; see that the bench and what forwards to it run, then try "
            "again");
    }

    int fd_;
    std::string kind_;
    std::string address_;
};

/// connect() that gives up after the timeout. 0, or an errno.
int connect_within(int fd, const sockaddr* where, socklen_t size, Milliseconds timeout) {
    const int flags = ::fcntl(fd, F_GETFL);
    ::fcntl(fd, F_SETFL, flags | O_NONBLOCK);
    if (::connect(fd, where, size) == 0) {
        return 0;
    }
    if (errno != EINPROGRESS) {
        return errno;
    }
    if (wait_writable(fd, timeout) == Ready::kTimeout) {
        return ETIMEDOUT;
    }
    int problem = 0;
    socklen_t length = sizeof(problem);
    ::getsockopt(fd, SOL_SOCKET, SO_ERROR, &problem, &length);
    return problem;
}

} // namespace

Result<std::unique_ptr<Transport>> open_tcp(const Address& address) {
    addrinfo hints{};
    hints.ai_socktype = SOCK_STREAM;
    addrinfo* found = nullptr;
    const int failed = ::getaddrinfo(address.target.c_str(), address.port.c_str(), &hints, &found);
    if (failed != 0) {
        return link_error(fmt::format("cannot look up the host of {}", address.text),
                          ::gai_strerror(failed),
                          "expected a host name or number; check its spelling");
    }
    const std::unique_ptr<addrinfo, decltype(&::freeaddrinfo)> list(found, &::freeaddrinfo);
    int problem = 0;
    for (const addrinfo* each = found; each != nullptr; each = each->ai_next) {
        const int fd = ::socket(each->ai_family, each->ai_socktype | SOCK_CLOEXEC, 0);
        if (fd < 0) {
            problem = errno;
            continue;
        }
        problem = connect_within(fd, each->ai_addr, each->ai_addrlen, kConnectTimeout);
        if (problem == 0) {
            const int on = 1; // requests are short and each waits for its answer
            ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof(on));
            return std::unique_ptr<Transport>(
                std::make_unique<SocketTransport>(fd, "tcp", address.text));
        }
        ::close(fd);
    }
    return link_error(
        fmt::format("cannot connect to {}", address.text), system_text(problem),
        "expected a bench listening there; start the virtual bench or the serial bridge, and "
        "check host and port");
}

Result<std::unique_ptr<Transport>> open_unix(const Address& address) {
    sockaddr_un where{};
    where.sun_family = AF_UNIX;
    if (address.target.size() >= sizeof(where.sun_path)) {
        return Error{
            ErrorKind::kUsage,
            fmt::format("socket path of {} has {} bytes; the system allows {}; use a shorter path",
                        address.text, address.target.size(), sizeof(where.sun_path) - 1)};
    }
    std::memcpy(where.sun_path, address.target.data(), address.target.size());
    const int fd = ::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    int problem = errno;
    if (fd >= 0) {
        problem = connect_within(fd, reinterpret_cast<const sockaddr*>(&where), sizeof(where),
                                 kConnectTimeout);
        if (problem == 0) {
            return std::unique_ptr<Transport>(
                std::make_unique<SocketTransport>(fd, "unix", address.text));
        }
        ::close(fd);
    }
    return link_error(
        fmt::format("cannot connect to {}", address.text), system_text(problem),
        "expected a bench listening on that socket; start the virtual bench and check the path");
}

} // namespace yokedock::link
