// SPDX-License-Identifier: MIT
#pragma once
#include "host/link/address.hpp"

namespace yokedock::link {

constexpr Milliseconds kConnectTimeout{3000};

/// address.kind must be kTcp; waits kConnectTimeout at most per address the name resolves to.
[[nodiscard]] Result<std::unique_ptr<Transport>> open_tcp(const Address& address);

/// address.kind must be kUnix.
[[nodiscard]] Result<std::unique_ptr<Transport>> open_unix(const Address& address);

} // namespace yokedock::link
