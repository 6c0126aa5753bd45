// SPDX-License-Identifier: MIT
// The serial line on a socket, with a chip that echoes.
#include "demo/virtual_bench/system/bench_server.hpp"
#include "tests/unit/chip/fake_board.hpp"
#include "tests/unit/chip/recorder.hpp"
#include <arpa/inet.h>
#include <cstring>
#include <filesystem>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <thread>
#include <unistd.h>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

/// A blocking client; a receive that takes over 20 s is a failed test.
class Client {
  public:
    explicit Client(const std::string& address) {
        if (address.rfind("unix:", 0) == 0) {
            sockaddr_un name{};
            name.sun_family = AF_UNIX;
            std::strncpy(name.sun_path, address.c_str() + 5, sizeof(name.sun_path) - 1);
            open(AF_UNIX, reinterpret_cast<const sockaddr*>(&name), sizeof(name));
        } else {
            sockaddr_in name{};
            name.sin_family = AF_INET;
            name.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
            name.sin_port = htons(
                static_cast<std::uint16_t>(std::stoi(address.substr(address.rfind(':') + 1))));
            open(AF_INET, reinterpret_cast<const sockaddr*>(&name), sizeof(name));
        }
        const timeval limit{20, 0};
        setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit));
    }
    ~Client() { close(socket_); }
    Client(const Client&) = delete;
    Client& operator=(const Client&) = delete;

    void send(const std::vector<std::uint8_t>& bytes) const {
        REQUIRE(::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL) ==
                static_cast<ssize_t>(bytes.size()));
    }
    std::vector<std::uint8_t> receive(std::size_t count) const {
        std::vector<std::uint8_t> bytes(count);
        std::size_t have = 0;
        while (have < count) {
            const ssize_t got = recv(socket_, bytes.data() + have, count - have, 0);
            if (got <= 0) {
                break;
            }
            have += static_cast<std::size_t>(got);
        }
        bytes.resize(have);
        return bytes;
    }

  private:
    void open(int family, const sockaddr* name, socklen_t size) {
        socket_ = socket(family, SOCK_STREAM | SOCK_CLOEXEC, 0);
        REQUIRE(connect(socket_, name, size) == 0);
    }
    int socket_ = -1;
};

/// Serves an echoing bench in a thread until it is told to stop.
class Served {
  public:
    explicit Served(Result<std::unique_ptr<SocketServer>> server, ServeOptions options = {}) {
        REQUIRE(server);
        server_ = std::move(server).value();
        thread_ = std::thread([this, options] {
            const BenchFactory factory = [this] {
                ++benches;
                return BenchSimulation::create(chip_image("echo"), std::make_unique<FakeBoard>());
            };
            const auto served = serve_bench(factory, *server_, options, stop_);
            if (served) {
                summary = served.value();
            }
        });
    }
    ~Served() { end(); }
    void end() {
        stop_ = true;
        join();
    }
    void join() {
        if (thread_.joinable()) {
            thread_.join();
        }
    }
    const std::string& address() const { return server_->address(); }

    std::atomic<int> benches = 0;
    ServeSummary summary; ///< valid after join or end

  private:
    std::unique_ptr<SocketServer> server_;
    std::atomic<bool> stop_ = false;
    std::thread thread_;
};

std::vector<std::uint8_t> pattern(std::size_t count) {
    std::vector<std::uint8_t> bytes(count);
    for (std::size_t i = 0; i < count; ++i) {
        bytes[i] = static_cast<std::uint8_t>(i * i / 7 + i);
    }
    return bytes;
}

} // namespace

TEST_CASE("a client on loopback TCP gets its bytes back, and so does the next one") {
    Served served(SocketServer::listen_tcp(0));
    REQUIRE(served.address().rfind("tcp:127.0.0.1:", 0) == 0);
    for (int client_number = 0; client_number < 3; ++client_number) {
        const Client client(served.address());
        const auto bytes = pattern(5000);
        client.send(bytes);
        CHECK(client.receive(bytes.size()) == bytes);
    }
    served.end();
    CHECK(served.benches == 1); // the chip went on
    CHECK(served.summary.chip.serial_sent == 15'000);
}

TEST_CASE("a client that comes while another is served waits its turn") {
    Served served(SocketServer::listen_tcp(0));
    auto first = std::make_unique<Client>(served.address());
    first->send({1});
    CHECK(first->receive(1).size() == 1);
    const Client second(served.address());
    second.send({2});
    first->send({3});
    CHECK(first->receive(1) == std::vector<std::uint8_t>{3});
    first.reset();
    CHECK(second.receive(1) == std::vector<std::uint8_t>{2});
}

TEST_CASE("with reset on connect every client after the first gets a new bench") {
    ServeOptions options;
    options.reset_on_connect = true;
    Served served(SocketServer::listen_tcp(0), options);
    for (int client_number = 0; client_number < 2; ++client_number) {
        const Client client(served.address());
        client.send({7});
        CHECK(client.receive(1).size() == 1);
    }
    CHECK(served.benches == 2);
}

TEST_CASE(
    "a Unix socket serves, is removed at the end, and one left by a dead server is replaced") {
    const std::string path =
        (std::filesystem::temp_directory_path() / ("yokedock-test-" + std::to_string(getpid())))
            .string();
    const int stale = socket(AF_UNIX, SOCK_STREAM, 0);
    sockaddr_un name{};
    name.sun_family = AF_UNIX;
    std::strncpy(name.sun_path, path.c_str(), sizeof(name.sun_path) - 1);
    REQUIRE(bind(stale, reinterpret_cast<const sockaddr*>(&name), sizeof(name)) == 0);
    close(stale);
    {
        Served served(SocketServer::listen_unix(path));
        const Client client(served.address());
        client.send({42});
        CHECK(client.receive(1) == std::vector<std::uint8_t>{42});
        const auto second = SocketServer::listen_unix(path);
        REQUIRE_FALSE(second); // a living one is left alone
    }
    CHECK_FALSE(std::filesystem::exists(path));
}

TEST_CASE("bytes that the client is slow to take are held back, none is lost") {
    const std::string path =
        (std::filesystem::temp_directory_path() / ("yokedock-slow-" + std::to_string(getpid())))
            .string();
    Served served(SocketServer::listen_unix(path));
    const Client client(served.address());
    const auto bytes = pattern(100'000);
    // Sent and taken piecewise, the reading far behind: three quarters stay in flight for most of
    // the time.
    for (std::size_t i = 0; i < 10; ++i) {
        client.send({bytes.begin() + static_cast<long>(i * 10'000),
                     bytes.begin() + static_cast<long>((i + 1) * 10'000)});
    }
    CHECK(client.receive(bytes.size()) == bytes);
}

TEST_CASE(
    "without a client simulated time stands still, and a run time ends the service by itself") {
    {
        Served idle(SocketServer::listen_tcp(0));
        idle.end();
        CHECK(idle.summary.simulated_s == 0);
    }
    ServeOptions options;
    options.run_s = 0.25;
    Served timed(SocketServer::listen_tcp(0), options);
    timed.join();
    CHECK(timed.summary.simulated_s >= 0.25);
    CHECK(timed.summary.simulated_s < 0.252); // looks at the time every millisecond
}

TEST_CASE("the service ends with its first client when asked to") {
    ServeOptions options;
    options.exit_on_disconnect = true;
    Served served(SocketServer::listen_tcp(0), options);
    {
        const Client client(served.address());
        client.send({9});
        CHECK(client.receive(1).size() == 1);
    }
    served.join(); // would hang if it did not end: the test's time limit catches it
    CHECK(served.summary.chip.serial_sent == 1);
}
