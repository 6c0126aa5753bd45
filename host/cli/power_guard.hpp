// SPDX-License-Identifier: MIT
#pragma once
#include "host/bench/bench.hpp"

namespace yokedock::cli {

/// Switches the supply off when a command ends, however it ends: Ctrl-C, error, or done. Power off
/// is sent even after a stop; a lost link is the bench's own business then (host silence trips it).
class PowerGuard {
  public:
    explicit PowerGuard(const bench::Bench& bench) : bench_(bench) {}
    ~PowerGuard() { (void)bench_.power_off(); }
    PowerGuard(const PowerGuard&) = delete;
    PowerGuard& operator=(const PowerGuard&) = delete;

  private:
    const bench::Bench& bench_;
};

} // namespace yokedock::cli
