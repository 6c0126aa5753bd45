// SPDX-License-Identifier: MIT
// A byte stream for one client at a time over loopback TCP or a Unix socket. Nothing here blocks
// but wait().
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace yokedock::sim {

class SocketServer {
  public:
    /// 127.0.0.1 only; port 0 takes any free one.
    static Result<std::unique_ptr<SocketServer>> listen_tcp(std::uint16_t port);
    /// The socket file is made now and removed at the end; one that a dead server left is replaced.
    static Result<std::unique_ptr<SocketServer>> listen_unix(const std::string& path);
    ~SocketServer();
    SocketServer(const SocketServer&) = delete;
    SocketServer& operator=(const SocketServer&) = delete;

    /// "tcp:127.0.0.1:PORT" or "unix:PATH".
    const std::string& address() const { return address_; }

    enum class Event : std::uint8_t { kNothing, kConnected, kDisconnected };
    /// Takes a waiting client when there is none, reads what came, sends what was queued.
    Event poll();
    bool connected() const { return client_ >= 0; }

    std::vector<std::uint8_t> take_received();
    /// Queues and tries to send. Bytes for a client that has gone are dropped.
    void send(const std::vector<std::uint8_t>& bytes);
    std::size_t unsent() const { return unsent_.size(); }

    /// Sleeps until poll() has something to do, a signal comes, or that long.
    void wait(int milliseconds) const;

  private:
    SocketServer(int listener, std::string address, std::string unlink_path);
    void flush();
    void read_available();
    void drop_client();

    int listener_;
    int client_ = -1;
    std::string address_;
    std::string unlink_path_;
    std::vector<std::uint8_t> received_;
    std::vector<std::uint8_t> unsent_;
};

} // namespace yokedock::sim
