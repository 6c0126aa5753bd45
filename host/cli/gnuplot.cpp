// SPDX-License-Identifier: MIT
#include "host/cli/gnuplot.hpp"
#include <array>
#include <cerrno>
#include <csignal>
#include <cstring>
#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

namespace yokedock::cli {
namespace {

constexpr int kPollMs = 100;
constexpr std::size_t kMostPictureBytes = 256u << 20;

/// Both ends of a pipe, closed when forgotten.
struct Pipe {
    std::array<int, 2> end{-1, -1};
    Pipe() {
        if (::pipe2(end.data(), O_CLOEXEC) != 0) {
            end = {-1, -1};
        }
    }
    ~Pipe() {
        close(0);
        close(1);
    }
    Pipe(const Pipe&) = delete;
    Pipe& operator=(const Pipe&) = delete;
    void close(std::size_t i) {
        if (end[i] >= 0) {
            ::close(end[i]);
            end[i] = -1;
        }
    }
};

Error failure(const std::string& why, const std::string& cure) {
    return {ErrorKind::kFile, fmt::format("cannot draw the picture: {}; {}", why, cure)};
}

constexpr const char* kInstall =
    "install gnuplot (Debian: apt-get install gnuplot-nox), or leave out "
    "--svg and --png and use --plot";

struct Spawned {
    pid_t pid = -1;
    int error = 0;
};

Spawned spawn(Pipe& in, Pipe& out, Pipe& err) {
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, in.end[0], STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, out.end[1], STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, err.end[1], STDERR_FILENO);
    std::string name = "gnuplot";
    char* const arguments[] = {name.data(), nullptr};
    Spawned spawned;
    spawned.error =
        ::posix_spawnp(&spawned.pid, name.c_str(), &actions, nullptr, arguments, environ);
    posix_spawn_file_actions_destroy(&actions);
    in.close(0);
    out.close(1);
    err.close(1);
    return spawned;
}

/// Reads what is there. False at the end of the stream.
bool drain(int fd, std::string& into) {
    std::array<char, 65536> buffer;
    const ssize_t n = ::read(fd, buffer.data(), buffer.size());
    if (n > 0) {
        into.append(buffer.data(), static_cast<std::size_t>(n));
    }
    return n > 0 || (n < 0 && (errno == EINTR || errno == EAGAIN));
}

/// Writes the program and reads both outputs at once: a pipe that fills up must not stop the
/// others. False when the token stopped it or the picture became too large.
bool exchange(const std::string& program, Pipe& in, Pipe& out, Pipe& err, std::string& picture,
              std::string& complaint, const link::StopToken& stop) {
    ::fcntl(in.end[1], F_SETFL, O_NONBLOCK);
    std::size_t sent = 0;
    while (out.end[0] >= 0 || err.end[0] >= 0) {
        if (stop.stopped() || picture.size() > kMostPictureBytes) {
            return false;
        }
        std::array<pollfd, 3> fds{
            {{out.end[0], POLLIN, 0}, {err.end[0], POLLIN, 0}, {in.end[1], POLLOUT, 0}}};
        if (::poll(fds.data(), fds.size(), kPollMs) <= 0) {
            continue;
        }
        if (fds[0].revents != 0 && !drain(out.end[0], picture)) {
            out.close(0);
        }
        if (fds[1].revents != 0 && !drain(err.end[0], complaint)) {
            err.close(0);
        }
        if (fds[2].revents != 0) {
            const ssize_t n = ::write(in.end[1], program.data() + sent, program.size() - sent);
            sent += n > 0 ? static_cast<std::size_t>(n) : 0;
            if (sent == program.size() || (n < 0 && errno != EAGAIN && errno != EINTR)) {
                in.close(1); // all said, or gnuplot is gone: its complaint tells why
            }
        }
    }
    return true;
}

} // namespace

Result<std::string> run_gnuplot(const std::string& program, link::StopToken stop) {
    Pipe in;
    Pipe out;
    Pipe err;
    if (in.end[0] < 0 || out.end[0] < 0 || err.end[0] < 0) {
        return failure(std::strerror(errno), "close some programs and try again");
    }
    const Spawned child = spawn(in, out, err);
    if (child.error != 0) {
        return failure(fmt::format("gnuplot does not start ({}), expected it in PATH",
                                   std::strerror(child.error)),
                       kInstall);
    }
    std::string picture;
    std::string complaint;
    const bool whole = exchange(program, in, out, err, picture, complaint, stop);
    if (!whole) {
        ::kill(child.pid, SIGKILL);
    }
    int status = 0;
    while (::waitpid(child.pid, &status, 0) < 0 && errno == EINTR) {
    }
    if (!whole) {
        return Error{ErrorKind::kStopped, "drawing was stopped"};
    }
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0 || picture.empty()) {
        const bool missing = WIFEXITED(status) && WEXITSTATUS(status) == 127;
        return failure(missing ? "gnuplot does not start, expected it in PATH"
                               : "gnuplot said: " + complaint.substr(0, 400),
                       missing ? kInstall : "is its version 5.4 or later?");
    }
    return picture;
}

} // namespace yokedock::cli
