// SPDX-License-Identifier: MIT
#pragma once
#include <cstdint>

namespace yokedock::test {

/// xorshift64* (S. Vigna, "An experimental exploration of Marsaglia's xorshift generators,
/// scrambled", 2016): fast and the same on every machine.
class RandomBytes {
  public:
    explicit RandomBytes(std::uint64_t seed) : state_(seed) {}
    std::uint32_t next() {
        state_ ^= state_ >> 12;
        state_ ^= state_ << 25;
        state_ ^= state_ >> 27;
        return static_cast<std::uint32_t>((state_ * 0x2545F4914F6CDD1Dull) >> 32);
    }
    std::uint32_t below(std::uint32_t limit) {
        return static_cast<std::uint32_t>((static_cast<std::uint64_t>(next()) * limit) >> 32);
    }

  private:
    std::uint64_t state_;
};

} // namespace yokedock::test
