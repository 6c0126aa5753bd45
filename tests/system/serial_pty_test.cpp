// SPDX-License-Identifier: MIT
// The real libserialport over a pseudo-terminal (run with serial_shim preloaded). libserialport
// takes only names under /dev that /sys/class/tty knows as links; a link of ours reached through
// "/dev/../../.." is both.
#include "host/capture/measurement.hpp"
#include "host/link/serial_transport.hpp"
#include "shared/sync/standards.hpp"
#include "tests/system/link_server.hpp"
#include <asm/termbits.h> // struct termios2; excludes <termios.h>
#include <catch2/catch.hpp>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <fcntl.h>
#include <filesystem>
#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

using namespace yokedock;
using link::Milliseconds;

namespace {

/// A bare chroot or container may lack these; without them the port would only be "not found".
void require_port_list() {
    if (!std::filesystem::is_directory("/sys/class/tty")) {
        FAIL("this test cannot run here: there is no /sys/class/tty, where libserialport looks "
             "ports up; as root: mount -t sysfs sysfs /sys");
    }
}

[[noreturn]] void fail_without_pty(const std::string& what) {
    const std::string reason = std::strerror(errno);
    FAIL("this test cannot run here: no pseudo-terminal can be had, as "
         << what << " (" << reason << "); as root: mount -t devpts devpts /dev/pts, and "
         << "/dev/ptmx must be a character device 5 2 open to all, or a link to a "
         << "pts/ptmx that is (mount option ptmxmode=666)");
    std::abort(); // not reached: FAIL throws, which the compiler cannot know
}

struct Pty {
    test::TemporaryFolder folder;
    int master = -1;
    std::string address;

    Pty() {
        require_port_list();
        master = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
        if (master < 0) {
            fail_without_pty("/dev/ptmx does not open");
        }
        if (::grantpt(master) != 0 || ::unlockpt(master) != 0) {
            fail_without_pty("it is not granted or unlocked");
        }
        const char* name = ::ptsname(master);
        if (name == nullptr || ::access(name, R_OK | W_OK) != 0) {
            fail_without_pty(std::string(name != nullptr ? name : "its name") + " is not there");
        }
        std::filesystem::create_symlink(name, folder.path() + "/port");
        address = "serial:/dev/../../.." + folder.path() + "/port";
    }
};

/// Sends back what comes, until `end`.
void echo(int fd, const std::atomic<bool>& end) {
    std::uint8_t buffer[700];
    while (!end) {
        pollfd item{fd, POLLIN, 0};
        if (::poll(&item, 1, 20) <= 0 || (item.revents & POLLIN) == 0) {
            continue;
        }
        const ssize_t count = ::read(fd, buffer, sizeof(buffer));
        for (ssize_t at = 0; at < count;) {
            const ssize_t done = ::write(fd, buffer + at, static_cast<std::size_t>(count - at));
            if (done <= 0) {
                return;
            }
            at += done;
        }
    }
}

} // namespace

TEST_CASE("libserialport opens the port at 1 Mbaud, 8N1, raw and without flow control") {
    const Pty pty;
    const auto port = link::open_serial(link::parse_address(pty.address).value());
    if (!port.ok()) {
        FAIL(port.error().text);
    }
    termios2 settings{};
    REQUIRE(::ioctl(pty.master, TCGETS2, &settings) == 0); // a master shows its slave's settings
    CHECK(settings.c_ispeed == 1000000);
    CHECK(settings.c_ospeed == 1000000);
    CHECK((settings.c_cflag & CSIZE) == CS8);
    CHECK((settings.c_cflag & (PARENB | CSTOPB | CRTSCTS)) == 0);
    CHECK((settings.c_iflag & (IXON | IXOFF | ICRNL | INLCR | ISTRIP)) == 0);
    CHECK((settings.c_lflag & (ICANON | ECHO | ISIG)) == 0);
    CHECK((settings.c_oflag & OPOST) == 0);
    ::close(pty.master);
}

TEST_CASE(
    "100 kB go both ways through libserialport, none lost, with the port's queue full on the way") {
    const Pty pty;
    const auto port = link::open_serial(link::parse_address(pty.address).value());
    REQUIRE(port.ok());
    std::vector<std::uint8_t> sent(100000);
    for (std::size_t i = 0; i < sent.size(); ++i) {
        sent[i] = static_cast<std::uint8_t>(test::mix(static_cast<std::uint32_t>(i)));
    }
    std::atomic<bool> end = false;
    std::thread device([&] { echo(pty.master, end); });
    std::atomic<bool> all_sent = false;
    // A pty queues some 4 kB: one write of 100 kB meets EAGAIN many times.
    std::thread writer([&] { all_sent = port.value()->write_all(sent, Milliseconds(10000)).ok(); });
    std::vector<std::uint8_t> received;
    while (received.size() < sent.size()) {
        std::uint8_t buffer[4096];
        const auto count = port.value()->read(buffer, Milliseconds(10000));
        if (!count.ok() || count.value() == 0) {
            break;
        }
        received.insert(received.end(), buffer, buffer + count.value());
    }
    writer.join();
    end = true;
    device.join();
    CHECK(all_sent);
    CHECK(received.size() == sent.size());
    CHECK((received == sent));
    ::close(pty.master);
}

TEST_CASE("a measurement through libserialport is whole, and the port's hang-up is a lost link") {
    const Pty pty;
    auto server = std::make_unique<test::DescriptorServer>(pty.master, false);
    auto bench = bench::Bench::open(pty.address);
    if (!bench.ok()) {
        FAIL(bench.error().text);
    }
    CHECK(bench.value().transport_kind() == "serial");
    REQUIRE(bench.value().set_sync(sync::kStandards[3].settings).ok());
    const auto outcome = capture::run_measurement(bench.value(), {});
    if (outcome.error) {
        FAIL(outcome.error->text);
    }
    const capture::RawCapture& vertical = outcome.measurement.captures.at(2);
    for (std::uint32_t n = 0; n < vertical.samples.code.size(); ++n) {
        REQUIRE(vertical.samples.code[n] == (test::mix(n) & 0x3FF));
    }
    CHECK(bench.value().requester().counters().frames_bad == 0);
    server.reset(); // closes the master: what an unplugged adapter looks like
    const auto lost = bench.value().status();
    REQUIRE_FALSE(lost.ok());
    CHECK(lost.error().kind == ErrorKind::kLink);
}

TEST_CASE("the ports of this machine can be listed") {
    require_port_list();
    CHECK(link::list_serial_ports().ok());
}
