// SPDX-License-Identifier: MIT
// Whole files in, whole files out. The only place of the host that writes to a disc.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <string>
#include <string_view>

namespace yokedock::record {

enum class IfExists { kRefuse, kReplace };

/// Writes bytes to path so that a reader, a crash or a full disc never meets half a file: temporary
/// name in the same folder, synced, renamed, folder synced. On any error path is as it was before.
/// Blocks for the disc.
[[nodiscard]] Status write_file(const std::string& path, std::string_view bytes,
                                IfExists if_exists);

/// Why the path cannot be written, before hours of work are put into it; a new file is not left
/// behind.
[[nodiscard]] Status check_writable(const std::string& path, IfExists if_exists);

/// Size of a regular file in bytes; an error for anything else (folder, device, pipe) and for one
/// larger than most_bytes. `what` names the kind of file in messages: "record".
[[nodiscard]] Result<std::uint64_t>
regular_file_size(const std::string& path, std::uint64_t most_bytes, const std::string& what);

/// The whole file; the size is checked before a byte is read.
[[nodiscard]] Result<std::string> read_file(const std::string& path, std::uint64_t most_bytes,
                                            const std::string& what);

} // namespace yokedock::record
