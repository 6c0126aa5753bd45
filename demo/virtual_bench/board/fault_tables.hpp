// SPDX-License-Identifier: MIT
// The parts of the fault table and what they are written with. Inside the board model only. The
// amounts are how parts fail in practice (common practice, no source) and assumptions.
#pragma once
#include "demo/virtual_bench/board/faults.hpp"

namespace yokedock::sim::tables {

using Member = double BoardParameters::*;

constexpr FaultChange scale(Member member, double mild, double worst) {
    return {member, ChangeKind::kScale, mild, worst};
}
constexpr FaultChange add(Member member, double mild, double worst) {
    return {member, ChangeKind::kAdd, mild, worst};
}
constexpr FaultChange parallel(Member member, double mild, double worst) {
    return {member, ChangeKind::kParallel, mild, worst};
}
constexpr FaultChange set(Member member, double mild, double worst) {
    return {member, ChangeKind::kSet, mild, worst};
}
constexpr FaultChange set(Member member, double value) {
    return set(member, value, value);
}

[[nodiscard]] std::span<const Fault> supply_and_sync();
[[nodiscard]] std::span<const Fault> vertical();
[[nodiscard]] std::span<const Fault> line();
[[nodiscard]] std::span<const Fault> heat();

} // namespace yokedock::sim::tables
