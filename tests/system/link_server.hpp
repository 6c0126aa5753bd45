// SPDX-License-Identifier: MIT
#pragma once
#include "tests/unit/capture/firmware_device.hpp"
#include <atomic>
#include <string>
#include <thread>

namespace yokedock::test {

/// What a served bench does after it has sent so many bytes.
enum class Ending { kNone, kClose, kSilent };

/// The firmware's request handling behind a file descriptor, in a thread: serves one connection
/// until it is closed. Owns the descriptor.
class DescriptorServer {
  public:
    /// listening: fd is to be accepted from first; else it is the stream itself (a pty's master).
    DescriptorServer(int fd, bool listening, Ending ending = Ending::kNone,
                     std::size_t after_bytes = 0);
    DescriptorServer(const DescriptorServer&) = delete;
    DescriptorServer& operator=(const DescriptorServer&) = delete;
    ~DescriptorServer();

  private:
    void run();
    void serve(int fd);

    int fd_;
    bool listening_;
    Ending ending_;
    std::size_t after_bytes_;
    std::atomic<bool> end_ = false;
    std::thread thread_;
};

/// A listening socket on a free loopback port; address gets "tcp:127.0.0.1:PORT".
[[nodiscard]] int listen_tcp(std::string& address);
/// A listening socket at a path that must not exist; address gets "unix:PATH".
[[nodiscard]] int listen_unix(const std::string& path, std::string& address);

/// A folder of its own under the system's temporary one, removed with what is in it at the end.
class TemporaryFolder {
  public:
    TemporaryFolder();
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    ~TemporaryFolder();
    [[nodiscard]] const std::string& path() const { return path_; }

  private:
    std::string path_;
};

} // namespace yokedock::test
