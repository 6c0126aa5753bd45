// SPDX-License-Identifier: MIT
// A file that grows line by line and never loses one that it accepted.
#pragma once
#include "host/record/file.hpp"
#include <utility>

namespace yokedock::record {

/// Movable. Only one program at a time can have a file open here; the lock ends with the program,
/// however it ends.
class AppendFile {
  public:
    /// Opens an existing file and cuts it to `bytes`, which must be at most its size. kFile when it
    /// cannot be written, is shorter, or another program has it open.
    [[nodiscard]] static Result<AppendFile> open(const std::string& path, std::uint64_t bytes);

    AppendFile(AppendFile&& other) noexcept
        : path_(std::move(other.path_)), fd_(std::exchange(other.fd_, -1)), bytes_(other.bytes_) {}
    AppendFile& operator=(AppendFile&&) = delete;
    ~AppendFile();

    /// Writes the line whole and syncs it to the disc. When that fails, the file is cut back to the
    /// lines before it, so that it stays good. Blocks for the disc.
    [[nodiscard]] Status append(std::string_view line);

    [[nodiscard]] const std::string& path() const { return path_; }

  private:
    AppendFile(std::string path, int fd, std::uint64_t bytes)
        : path_(std::move(path)), fd_(fd), bytes_(bytes) {}

    std::string path_;
    int fd_;
    std::uint64_t bytes_; ///< of complete, synced lines
};

} // namespace yokedock::record
