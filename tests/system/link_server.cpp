// SPDX-License-Identifier: MIT
#include "tests/system/link_server.hpp"
#include <arpa/inet.h>
#include <cstdlib>
#include <filesystem>
#include <netinet/in.h>
#include <poll.h>
#include <stdexcept>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

namespace yokedock::test {
namespace {

constexpr int kPollMs = 20;

bool readable(int fd) {
    pollfd item{fd, POLLIN, 0};
    return ::poll(&item, 1, kPollMs) > 0;
}

bool write_all(int fd, const std::vector<std::uint8_t>& bytes) {
    std::size_t at = 0;
    while (at < bytes.size()) {
        const ssize_t count = ::write(fd, bytes.data() + at, bytes.size() - at);
        if (count <= 0) {
            return false;
        }
        at += static_cast<std::size_t>(count);
    }
    return true;
}

int require(int result, const char* what) {
    if (result < 0) {
        throw std::runtime_error(what);
    }
    return result;
}

} // namespace

DescriptorServer::DescriptorServer(int fd, bool listening, Ending ending, std::size_t after_bytes)
    : fd_(fd), listening_(listening), ending_(ending), after_bytes_(after_bytes),
      thread_([this] { run(); }) {}

DescriptorServer::~DescriptorServer() {
    end_ = true;
    thread_.join();
    ::close(fd_);
}

void DescriptorServer::run() {
    if (!listening_) {
        serve(fd_);
        return;
    }
    while (!end_) {
        if (readable(fd_)) {
            const int connection = ::accept(fd_, nullptr, nullptr);
            serve(connection);
            ::close(connection);
            return;
        }
    }
}

void DescriptorServer::serve(int fd) {
    FirmwareDevice device;
    std::size_t sent = 0;
    std::uint8_t buffer[512];
    while (!end_) {
        if (!readable(fd)) {
            continue;
        }
        const ssize_t count = ::read(fd, buffer, sizeof(buffer));
        if (count <= 0) {
            if (listening_) {
                return;
            }
            ::usleep(1000); // a pty's master reads an error while no slave is open
            continue;
        }
        std::vector<std::uint8_t>
            out; // one write for all: frames one by one would wait for each other's receipt
        for (const auto& frame :
             device.receive(link::Bytes(buffer, static_cast<std::size_t>(count)))) {
            if (ending_ != Ending::kNone && sent >= after_bytes_) {
                if (ending_ == Ending::kClose) {
                    return;
                }
                continue;
            }
            sent += frame.size();
            out.insert(out.end(), frame.begin(), frame.end());
        }
        if (!write_all(fd, out)) {
            return;
        }
    }
}

int listen_tcp(std::string& address) {
    const int fd = require(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), "socket");
    sockaddr_in where{};
    where.sin_family = AF_INET;
    where.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof(where);
    require(::bind(fd, reinterpret_cast<sockaddr*>(&where), size), "bind");
    require(::listen(fd, 1), "listen");
    require(::getsockname(fd, reinterpret_cast<sockaddr*>(&where), &size), "getsockname");
    address = "tcp:127.0.0.1:" + std::to_string(ntohs(where.sin_port));
    return fd;
}

int listen_unix(const std::string& path, std::string& address) {
    const int fd = require(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0), "socket");
    sockaddr_un where{};
    where.sun_family = AF_UNIX;
    path.copy(where.sun_path, sizeof(where.sun_path) - 1);
    require(::bind(fd, reinterpret_cast<sockaddr*>(&where), sizeof(where)), "bind");
    require(::listen(fd, 1), "listen");
    address = "unix:" + path;
    return fd;
}

TemporaryFolder::TemporaryFolder()
    : path_((std::filesystem::temp_directory_path() / "yokedock-test-XXXXXX").string()) {
    if (::mkdtemp(path_.data()) == nullptr) {
        throw std::runtime_error("mkdtemp");
    }
}

TemporaryFolder::~TemporaryFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
}

} // namespace yokedock::test
