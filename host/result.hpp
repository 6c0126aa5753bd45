// SPDX-License-Identifier: MIT
#pragma once
#include <cassert>
#include <string>
#include <utility>
#include <variant>

namespace yokedock {

/// Which family of exit code an error belongs to (docs: exit codes). The number is the exit code.
enum class ErrorKind {
    kUsage = 2,     ///< an option or its value
    kLink = 3,      ///< no bench, or link lost
    kRefused = 4,   ///< the bench refused or tripped
    kFile = 5,      ///< a file is missing, broken or not what it should be
    kInternal = 6,  ///< our own fault
    kStopped = 130, ///< stopped by the user
};

/// The world's fault, in words: what failed, value received, what was expected, what to do next.
struct Error {
    ErrorKind kind;
    std::string text;
};

/// A value or an Error. (std::expected is C++23.)
template <class T> class [[nodiscard]] Result {
  public:
    Result(T value) : content_(std::move(value)) {}
    Result(Error error) : content_(std::move(error)) {}

    [[nodiscard]] bool ok() const { return std::holds_alternative<T>(content_); }
    explicit operator bool() const { return ok(); }

    [[nodiscard]] const T& value() const& {
        assert(ok());
        return std::get<T>(content_);
    }
    [[nodiscard]] T& value() & {
        assert(ok());
        return std::get<T>(content_);
    }
    [[nodiscard]] T&& value() && {
        assert(ok());
        return std::get<T>(std::move(content_));
    }
    [[nodiscard]] const Error& error() const {
        assert(!ok());
        return std::get<Error>(content_);
    }

  private:
    std::variant<T, Error> content_;
};

struct Done {};
using Status = Result<Done>;

} // namespace yokedock
