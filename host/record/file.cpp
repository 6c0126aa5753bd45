// SPDX-License-Identifier: MIT
#include "host/record/file.hpp"
#include <atomic>
#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace yokedock::record {
namespace {

class Descriptor {
  public:
    explicit Descriptor(int fd) : fd_(fd) {}
    ~Descriptor() { close(); }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    [[nodiscard]] int get() const { return fd_; }
    int close() {
        const int result = fd_ < 0 ? 0 : ::close(fd_);
        fd_ = -1;
        return result;
    }

  private:
    int fd_;
};

std::string folder_of(const std::string& path) {
    const auto slash = path.rfind('/');
    if (slash == std::string::npos) {
        return ".";
    }
    return slash == 0 ? "/" : path.substr(0, slash);
}

/// Unique among processes (pid) and among threads of this one (count).
std::string temporary_name(const std::string& path) {
    static std::atomic<unsigned> count{0};
    const auto slash = path.rfind('/');
    const std::string name = slash == std::string::npos ? path : path.substr(slash + 1);
    return fmt::format("{}/.{}.{}-{}.tmp", folder_of(path), name, ::getpid(), count++);
}

Error write_error(const std::string& path, int number) {
    const char* cure = number == ENOSPC   ? "free some space or choose another disc"
                       : number == ENOENT ? "create the folder first or choose another path"
                       : number == EACCES || number == EROFS ? "choose a folder you may write to"
                                                             : "choose another path";
    return {ErrorKind::kFile, fmt::format("cannot write {}: {}, expected a writable place; {}",
                                          path, std::strerror(number), cure)};
}

Error exists_error(const std::string& path) {
    return {ErrorKind::kFile,
            fmt::format("cannot write {}: a file of this name exists, expected a new "
                        "name; choose another or add --force",
                        path)};
}

bool write_all(int fd, std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t n = ::write(fd, bytes.data(), bytes.size());
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n <= 0) {
            return false;
        }
        bytes.remove_prefix(static_cast<std::size_t>(n));
    }
    return true;
}

/// rename(), but refusing an existing target where asked. Filesystems without RENAME_NOREPLACE get
/// a hard link, which refuses an existing name as well.
int move_into_place(const std::string& from, const std::string& to, IfExists if_exists) {
    if (if_exists == IfExists::kReplace) {
        return ::rename(from.c_str(), to.c_str());
    }
    if (::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) {
        return 0;
    }
    if (errno != EINVAL && errno != ENOSYS) {
        return -1;
    }
    if (::link(from.c_str(), to.c_str()) != 0) {
        return -1;
    }
    return ::unlink(from.c_str());
}

} // namespace

Status write_file(const std::string& path, std::string_view bytes, IfExists if_exists) {
    const std::string temporary = temporary_name(path);
    Descriptor file(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666));
    if (file.get() < 0) {
        return write_error(path, errno);
    }
    if (!write_all(file.get(), bytes) || ::fsync(file.get()) != 0 || file.close() != 0 ||
        move_into_place(temporary, path, if_exists) != 0) {
        const int number = errno;
        ::unlink(temporary.c_str());
        return number == EEXIST ? exists_error(path) : write_error(path, number);
    }
    // Without this the new name itself may be lost in a power cut. Some filesystems refuse it: no
    // loss then.
    const Descriptor folder(::open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (folder.get() >= 0) {
        (void)::fsync(folder.get());
    }
    return Done{};
}

Status check_writable(const std::string& path, IfExists if_exists) {
    struct stat info {};
    if (::stat(path.c_str(), &info) == 0) {
        if (S_ISDIR(info.st_mode)) {
            return write_error(path, EISDIR);
        }
        if (if_exists == IfExists::kRefuse) {
            return exists_error(path);
        }
    }
    const std::string temporary = temporary_name(path);
    const Descriptor file(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666));
    if (file.get() < 0) {
        return write_error(path, errno);
    }
    ::unlink(temporary.c_str());
    return Done{};
}

Result<std::uint64_t> regular_file_size(const std::string& path, std::uint64_t most_bytes,
                                        const std::string& what) {
    struct stat info {};
    if (::stat(path.c_str(), &info) != 0) {
        return Error{ErrorKind::kFile,
                     fmt::format("cannot read {} {}: {}, expected a file; check the path", what,
                                 path, std::strerror(errno))};
    }
    if (!S_ISREG(info.st_mode)) {
        return Error{ErrorKind::kFile,
                     fmt::format("cannot read {} {}: it is a {}, expected a file; check the path",
                                 what, path, S_ISDIR(info.st_mode) ? "folder" : "device or pipe")};
    }
    const auto size = static_cast<std::uint64_t>(info.st_size);
    if (size > most_bytes) {
        return Error{
            ErrorKind::kFile,
            fmt::format("cannot read {} {}: it has {} bytes, expected at most {}; is it the "
                        "right file? Otherwise cut it to the part of interest",
                        what, path, size, most_bytes)};
    }
    return size;
}

Result<std::string> read_file(const std::string& path, std::uint64_t most_bytes,
                              const std::string& what) {
    const Result<std::uint64_t> size = regular_file_size(path, most_bytes, what);
    if (!size) {
        return size.error();
    }
    const Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
    std::string bytes(size.value(), '\0');
    std::size_t have = 0;
    while (file.get() >= 0 && have < bytes.size()) {
        const ssize_t n = ::read(file.get(), bytes.data() + have, bytes.size() - have);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n < 0) {
            break;
        }
        if (n == 0) { // became shorter while it was read: what is there decides
            bytes.resize(have);
            return bytes;
        }
        have += static_cast<std::size_t>(n);
    }
    if (file.get() < 0 || have < bytes.size()) {
        return Error{ErrorKind::kFile,
                     fmt::format("cannot read {} {}: {}, expected a readable file; check its "
                                 "permissions",
                                 what, path, std::strerror(errno))};
    }
    return bytes;
}

} // namespace yokedock::record
