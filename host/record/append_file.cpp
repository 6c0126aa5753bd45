// SPDX-License-Identifier: MIT
#include "host/record/append_file.hpp"
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace yokedock::record {
namespace {

Error failure(const std::string& path, const std::string& why, const std::string& cure) {
    return {ErrorKind::kFile, fmt::format("cannot append to {}: {}; {}", path, why, cure)};
}

Error system_failure(const std::string& path, int number) {
    return failure(path, std::string(std::strerror(number)) + ", expected a writable file",
                   number == ENOSPC || number == EDQUOT ? "free some space and resume"
                                                        : "check the file's permissions and disc");
}

} // namespace

Result<AppendFile> AppendFile::open(const std::string& path, std::uint64_t bytes) {
    const int fd = ::open(path.c_str(), O_WRONLY | O_CLOEXEC);
    if (fd < 0) {
        return system_failure(path, errno);
    }
    AppendFile file(path, fd, bytes);
    if (::flock(fd, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
        return failure(path, "another program has it open for writing, expected one at a time",
                       "end the other yokedock first");
    }
    struct stat info {};
    if (::fstat(fd, &info) != 0) {
        return system_failure(path, errno);
    }
    if (static_cast<std::uint64_t>(info.st_size) < bytes) {
        return failure(path,
                       fmt::format("it has {} bytes, expected {}: it became shorter since it was "
                                   "read",
                                   info.st_size, bytes),
                       "see what else writes to it");
    }
    const auto length = static_cast<off_t>(bytes);
    if ((info.st_size != length && (::ftruncate(fd, length) != 0 || ::fsync(fd) != 0)) ||
        ::lseek(fd, length, SEEK_SET) != length) {
        return system_failure(path, errno);
    }
    return file;
}

AppendFile::~AppendFile() {
    if (fd_ >= 0) {
        ::close(fd_);
    }
}

Status AppendFile::append(std::string_view line) {
    std::size_t sent = 0;
    while (sent < line.size()) {
        const ssize_t n = ::write(fd_, line.data() + sent, line.size() - sent);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n <= 0) {
            break;
        }
        sent += static_cast<std::size_t>(n);
    }
    if (sent < line.size() || ::fdatasync(fd_) != 0) {
        const int number = errno;
        const auto length = static_cast<off_t>(bytes_);
        (void)(::ftruncate(fd_, length) == 0 && ::lseek(fd_, length, SEEK_SET) == length);
        return system_failure(path_, number);
    }
    bytes_ += line.size();
    return Done{};
}

} // namespace yokedock::record
