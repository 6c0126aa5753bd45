// SPDX-License-Identifier: MIT
#include "host/link/poll_wait.hpp"
#include <algorithm>
#include <cerrno>
#include <climits>
#include <poll.h>
#include <system_error>

namespace yokedock::link {
namespace {

Ready wait(int fd, short events, Milliseconds timeout) {
    pollfd item{fd, events, 0};
    const auto limit = std::clamp<Milliseconds::rep>(timeout.count(), 0, INT_MAX);
    const int count = ::poll(&item, 1, static_cast<int>(limit));
    if (count == 0 || (count < 0 && errno == EINTR)) {
        return Ready::kTimeout;
    }
    if (count < 0) {
        return Ready::kGone;
    }
    // Bytes that came before a hang-up are still good: report them first.
    return (item.revents & events) != 0 ? Ready::kYes : Ready::kGone;
}

} // namespace

Ready wait_readable(int fd, Milliseconds timeout) {
    return wait(fd, POLLIN, timeout);
}
Ready wait_writable(int fd, Milliseconds timeout) {
    return wait(fd, POLLOUT, timeout);
}

std::string system_text(int error_number) {
    return std::generic_category().message(error_number);
}

} // namespace yokedock::link
