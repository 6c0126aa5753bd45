// SPDX-License-Identifier: MIT
// Random numbers that are the same on every machine (the standard library's distributions are not).
#pragma once
#include <cmath>
#include <cstdint>

namespace yokedock::sim {

/// SplitMix64 (Steele, Lea, Flood 2014; from memory) with a normal distribution by Marsaglia's
/// polar method.
class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed) {}

    [[nodiscard]] double uniform() { // [0, 1)
        return static_cast<double>(next() >> 11) * 0x1.0p-53;
    }

    [[nodiscard]] double normal() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        double u = 0;
        double v = 0;
        double s = 0;
        do {
            u = 2 * uniform() - 1;
            v = 2 * uniform() - 1;
            s = u * u + v * v;
        } while (s >= 1 || s == 0);
        const double scale = std::sqrt(-2 * std::log(s) / s);
        spare_ = v * scale;
        has_spare_ = true;
        return u * scale;
    }

  private:
    std::uint64_t next() {
        state_ += 0x9E3779B97F4A7C15ull;
        std::uint64_t z = state_;
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ull;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBull;
        return z ^ (z >> 31);
    }

    std::uint64_t state_;
    double spare_ = 0;
    bool has_spare_ = false;
};

} // namespace yokedock::sim
