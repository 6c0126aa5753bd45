// SPDX-License-Identifier: MIT
// The faults of the simulated board: one table. A fault changes component values (parameters.hpp),
// never a reading, and its severity, 0 to 1, says how far: 0 is barely out of tolerance, 1 as bad
// as it gets on a board that can still be powered, or one that is plainly dead. Faults compose:
// apply one after the other. docs/board_faults.md is made from the table.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include <array>
#include <optional>
#include <span>
#include <string_view>

namespace yokedock::sim {

enum class ChangeKind {
    kScale,    ///< the value times the amount
    kAdd,      ///< the value plus the amount: something in series
    kParallel, ///< the amount in parallel with the value, both resistances
    kSet,      ///< the amount in place of the value
};

/// One component's change. The amount goes from `mild` at severity 0 to `worst` at severity 1 in
/// equal ratios; both have one sign and neither is 0.
struct FaultChange {
    double BoardParameters::*member = nullptr; ///< nullptr: no change, the rest of the array
    ChangeKind kind = ChangeKind::kScale;
    double mild = 1;
    double worst = 1;
};

/// Heat-sink temperatures between which a fault comes in, from nothing at from_c to all of it at
/// to_c. from_c above to_c: there when cold, gone when warm.
struct FaultHeat {
    double from_c = 0;
    double to_c = 0;
};

/// On and off for exponentially distributed times of these means. The first state is drawn, too.
struct FaultIntermittent {
    double on_s = 0;
    double off_s = 0;
    std::uint32_t seed = 1;
};

struct Fault {
    std::string_view id;
    std::string_view section; ///< a word of host/record/part_roles.hpp
    std::string_view text;
    std::array<FaultChange, 3> changes;
    std::optional<FaultHeat> heat = std::nullopt; ///< comes with the heat sink's temperature
    bool service = false;                         ///< a mistake made at a repair
};

/// A fault as fitted to a board.
struct FaultUse {
    const Fault* fault = nullptr; ///< never nullptr once read
    double severity = 1;
    std::optional<FaultIntermittent> intermittent;
    std::optional<FaultHeat> heat; ///< the table's, unless said otherwise

    /// It comes and goes while the board runs: no fixed component values have all of it.
    [[nodiscard]] bool live() const { return intermittent || heat; }
};

/// Every fault, by section in the order of a repair.
[[nodiscard]] std::span<const Fault> fault_table();
/// nullptr when there is no such fault.
[[nodiscard]] const Fault* find_fault(std::string_view id);
/// The use of a fault as the table has it. kUsage: unknown id (names the nearest ones), severity
/// not from 0 to 1.
[[nodiscard]] Result<FaultUse> use_fault(std::string_view id, double severity);
/// From "id" (severity 1) or "id=severity".
[[nodiscard]] Result<FaultUse> parse_fault(std::string_view text);

/// The amount of one change at a severity.
[[nodiscard]] double change_amount(const FaultChange& change, double severity);
/// Changes the fault's components. part: how much of the fault is there, 0 (nothing changes) to 1;
/// what is set is set from a half on. Values stay inside the ranges of the parameter table.
void apply_fault(BoardParameters& board, const Fault& fault, double severity, double part = 1);
/// The same by id; kUsage as use_fault.
[[nodiscard]] Status apply_fault(BoardParameters& board, std::string_view id, double severity);

/// Puts a fault onto a board that has others: one that never changes into the values, one that
/// comes and goes into the list. kUsage when the list or what was said has it already: `fitted`
/// collects the ids.
struct FaultyBoard {
    BoardParameters parameters;
    std::vector<FaultUse> live;
    std::vector<std::string_view> fitted;
};
[[nodiscard]] Status fit_fault(FaultyBoard& board, const FaultUse& use);

} // namespace yokedock::sim
