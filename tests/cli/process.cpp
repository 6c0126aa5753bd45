// SPDX-License-Identifier: MIT
#include "tests/cli/process.hpp"
#include <array>
#include <csignal>
#include <cstdlib>
#include <fcntl.h>
#include <poll.h>
#include <stdexcept>
#include <sys/wait.h>
#include <unistd.h>

Process::Process(const std::string& program, const std::vector<std::string>& arguments,
                 const std::string& folder) {
    std::array<int, 2> out{};
    std::array<int, 2> err{};
    if (::pipe2(out.data(), O_CLOEXEC) != 0 || ::pipe2(err.data(), O_CLOEXEC) != 0) {
        throw std::runtime_error("no pipe");
    }
    std::vector<std::string> words{program};
    words.insert(words.end(), arguments.begin(), arguments.end());
    std::vector<char*> argv;
    for (std::string& word : words) {
        argv.push_back(word.data());
    }
    argv.push_back(nullptr);
    pid_ = ::fork();
    if (pid_ == 0) {
        const int nothing = ::open("/dev/null", O_RDONLY);
        ::dup2(nothing, STDIN_FILENO);
        ::dup2(out[1], STDOUT_FILENO);
        ::dup2(err[1], STDERR_FILENO);
        if (!folder.empty() && ::chdir(folder.c_str()) != 0) {
            ::_exit(126);
        }
        ::execv(program.c_str(), argv.data());
        ::_exit(127);
    }
    ::close(out[1]);
    ::close(err[1]);
    out_fd_ = out[0];
    err_fd_ = err[0];
}

Process::~Process() {
    if (!ended_ && pid_ > 0) {
        ::kill(pid_, SIGKILL);
        int status = 0;
        ::waitpid(pid_, &status, 0);
    }
    for (const int fd : {out_fd_, err_fd_}) {
        if (fd >= 0) {
            ::close(fd);
        }
    }
}

bool Process::pump() {
    std::array<pollfd, 2> fds{{{out_fd_, POLLIN, 0}, {err_fd_, POLLIN, 0}}};
    ::poll(fds.data(), fds.size(), 100);
    const auto read_from = [](int& fd, std::string& into) {
        std::array<char, 65536> buffer;
        const ssize_t n = ::read(fd, buffer.data(), buffer.size());
        if (n > 0) {
            into.append(buffer.data(), static_cast<std::size_t>(n));
        } else {
            ::close(fd);
            fd = -1;
        }
    };
    if (fds[0].revents != 0) {
        read_from(out_fd_, result_.out);
    }
    if (fds[1].revents != 0) {
        read_from(err_fd_, result_.err);
    }
    return out_fd_ >= 0 || err_fd_ >= 0;
}

bool Process::wait_for(const std::string& text) {
    const auto seen = [&] {
        return result_.out.find(text) != std::string::npos ||
               result_.err.find(text) != std::string::npos;
    };
    while (!seen()) {
        if (!pump()) {
            return seen();
        }
    }
    return true;
}

void Process::signal(int number) {
    ::kill(pid_, number);
}

Finished Process::finish() {
    while (pump()) {
    }
    int status = 0;
    ::waitpid(pid_, &status, 0);
    ended_ = true;
    result_.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    return result_;
}

Finished run_program(const std::string& program, const std::vector<std::string>& arguments,
                     const std::string& folder) {
    Process process(program, arguments, folder);
    return process.finish();
}
