// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/system/socket_server.hpp"
#include <arpa/inet.h>
#include <array>
#include <cerrno>
#include <cstring>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>
#include <utility>

namespace yokedock::sim {
namespace {

Error cannot_listen(const std::string& where, const std::string& next) {
    return {ErrorKind::kLink,
            "cannot listen on " + where + ": " + std::strerror(errno) + "; " + next};
}

constexpr int kSocketFlags = SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC;

bool somebody_listens(const sockaddr_un& name) {
    const int probe = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    const bool answered =
        probe >= 0 && connect(probe, reinterpret_cast<const sockaddr*>(&name), sizeof(name)) == 0;
    close(probe);
    return answered;
}

} // namespace

SocketServer::SocketServer(int listener, std::string address, std::string unlink_path)
    : listener_(listener), address_(std::move(address)), unlink_path_(std::move(unlink_path)) {}

SocketServer::~SocketServer() {
    drop_client();
    close(listener_);
    if (!unlink_path_.empty()) {
        unlink(unlink_path_.c_str());
    }
}

Result<std::unique_ptr<SocketServer>> SocketServer::listen_tcp(std::uint16_t port) {
    const std::string where = "tcp:127.0.0.1:" + std::to_string(port);
    const int listener = socket(AF_INET, kSocketFlags, 0);
    if (listener < 0) {
        return cannot_listen(where, "no socket to be had");
    }
    const int on = 1;
    setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on));
    sockaddr_in name{};
    name.sin_family = AF_INET;
    name.sin_port = htons(port);
    name.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof(name);
    if (bind(listener, reinterpret_cast<const sockaddr*>(&name), size) != 0 ||
        listen(listener, 4) != 0 ||
        getsockname(listener, reinterpret_cast<sockaddr*>(&name), &size) != 0) {
        const Error error = cannot_listen(where, "choose another port, or 0 for any free one");
        close(listener);
        return error;
    }
    return std::unique_ptr<SocketServer>(
        new SocketServer(listener, "tcp:127.0.0.1:" + std::to_string(ntohs(name.sin_port)), ""));
}

Result<std::unique_ptr<SocketServer>> SocketServer::listen_unix(const std::string& path) {
    const std::string where = "unix:" + path;
    sockaddr_un name{};
    name.sun_family = AF_UNIX;
    if (path.empty() || path.size() >= sizeof(name.sun_path)) {
        return Error{ErrorKind::kUsage, "cannot listen on " + where + ": a socket path has 1 to " +
                                            std::to_string(sizeof(name.sun_path) - 1) +
                                            " characters; choose a shorter one"};
    }
    std::memcpy(name.sun_path, path.c_str(), path.size());
    const int listener = socket(AF_UNIX, kSocketFlags, 0);
    if (listener < 0) {
        return cannot_listen(where, "no socket to be had");
    }
    const auto* address = reinterpret_cast<const sockaddr*>(&name);
    bool bound = bind(listener, address, sizeof(name)) == 0;
    if (!bound && errno == EADDRINUSE && !somebody_listens(name) && unlink(path.c_str()) == 0) {
        bound = bind(listener, address, sizeof(name)) == 0;
    }
    if (!bound || listen(listener, 4) != 0) {
        const Error error =
            cannot_listen(where, "choose another path, or end the program that uses it");
        close(listener);
        return error;
    }
    return std::unique_ptr<SocketServer>(new SocketServer(listener, where, path));
}

SocketServer::Event SocketServer::poll() {
    if (client_ < 0) {
        client_ = accept4(listener_, nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC);
        if (client_ < 0) {
            return Event::kNothing;
        }
        const int on = 1; // fails harmlessly on a Unix socket
        setsockopt(client_, IPPROTO_TCP, TCP_NODELAY, &on, sizeof(on));
        read_available();
        return Event::kConnected;
    }
    read_available();
    flush();
    return client_ < 0 ? Event::kDisconnected : Event::kNothing;
}

void SocketServer::read_available() {
    std::array<std::uint8_t, 4096> buffer;
    const ssize_t count = recv(client_, buffer.data(), buffer.size(), 0);
    if (count > 0) {
        received_.insert(received_.end(), buffer.begin(), buffer.begin() + count);
    } else if (count == 0 || (errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR)) {
        drop_client();
    }
}

std::vector<std::uint8_t> SocketServer::take_received() {
    return std::exchange(received_, {});
}

void SocketServer::send(const std::vector<std::uint8_t>& bytes) {
    if (client_ >= 0 && !bytes.empty()) {
        unsent_.insert(unsent_.end(), bytes.begin(), bytes.end());
        flush();
    }
}

void SocketServer::flush() {
    if (client_ < 0 || unsent_.empty()) {
        return;
    }
    const ssize_t count = ::send(client_, unsent_.data(), unsent_.size(), MSG_NOSIGNAL);
    if (count > 0) {
        unsent_.erase(unsent_.begin(), unsent_.begin() + count);
    } else if (errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR) {
        drop_client();
    }
}

void SocketServer::drop_client() {
    if (client_ >= 0) {
        close(client_);
        client_ = -1;
    }
    unsent_.clear();
}

void SocketServer::wait(int milliseconds) const {
    pollfd watched{};
    watched.fd = client_ >= 0 ? client_ : listener_;
    watched.events = static_cast<short>(POLLIN | (unsent_.empty() ? 0 : POLLOUT));
    ::poll(&watched, 1, milliseconds);
}

} // namespace yokedock::sim
