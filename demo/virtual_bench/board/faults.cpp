// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/faults.hpp"
#include "demo/virtual_bench/board/fault_tables.hpp"
#include <algorithm>
#include <charconv>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::sim {

namespace {

/// Letters to change, add or leave out to make one of the other (Levenshtein).
std::size_t edits(std::string_view a, std::string_view b) {
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t k = 1; k <= b.size(); ++k) {
            const std::size_t changed = diagonal + (a[i - 1] == b[k - 1] ? 0 : 1);
            diagonal = row[k];
            row[k] = std::min({row[k] + 1, row[k - 1] + 1, changed});
        }
    }
    return row.back();
}

constexpr std::size_t kLongestId = 40; ///< longer text is no slip of the keyboard

Error unknown_fault(std::string_view id) {
    if (id.size() > kLongestId) {
        return {ErrorKind::kUsage,
                "no fault has so long a name; --list-faults of yokedock_virtual_bench lists them"};
    }
    const std::span<const Fault> table = fault_table();
    const auto nearest =
        std::min_element(table.begin(), table.end(), [id](const Fault& a, const Fault& b) {
            return edits(a.id, id) < edits(b.id, id);
        });
    const bool near = edits(nearest->id, id) <= std::max<std::size_t>(2, nearest->id.size() / 3);
    return {ErrorKind::kUsage,
            fmt::format("no fault is called \"{}\"; {}--list-faults of yokedock_virtual_bench "
                        "lists them",
                        id, near ? fmt::format("did you mean \"{}\"? ", nearest->id) : "")};
}

const ParameterInfo& info_of(double BoardParameters::*member) {
    const std::span<const ParameterInfo> table = parameter_table();
    return *std::find_if(table.begin(), table.end(),
                         [member](const ParameterInfo& info) { return info.member == member; });
}

double changed(double value, ChangeKind kind, double amount, double part) {
    switch (kind) {
    case ChangeKind::kScale:
        return value * std::pow(amount, part);
    case ChangeKind::kAdd:
        return value + part * amount;
    case ChangeKind::kParallel:
        return 1 / (1 / value + part / amount);
    case ChangeKind::kSet:
        break;
    }
    return part >= 0.5 ? amount : value;
}

} // namespace

std::span<const Fault> fault_table() {
    static const std::vector<Fault> kAll = [] {
        std::vector<Fault> all;
        for (const auto part :
             {tables::supply_and_sync(), tables::vertical(), tables::line(), tables::heat()}) {
            all.insert(all.end(), part.begin(), part.end());
        }
        return all;
    }();
    return kAll;
}

const Fault* find_fault(std::string_view id) {
    const std::span<const Fault> table = fault_table();
    const auto found = std::find_if(table.begin(), table.end(),
                                    [id](const Fault& fault) { return fault.id == id; });
    return found == table.end() ? nullptr : &*found;
}

Result<FaultUse> use_fault(std::string_view id, double severity) {
    const Fault* fault = find_fault(id);
    if (fault == nullptr) {
        return unknown_fault(id);
    }
    if (!(severity >= 0 && severity <= 1)) { // NaN, too
        return Error{ErrorKind::kUsage,
                     fmt::format("fault {} got severity {}; expected 0 (barely out of tolerance) "
                                 "to 1 (as bad as it gets)",
                                 id, severity)};
    }
    return FaultUse{fault, severity, std::nullopt, fault->heat};
}

Result<FaultUse> parse_fault(std::string_view text) {
    const std::size_t equals = text.find('=');
    const std::string_view id = text.substr(0, equals);
    if (equals == std::string_view::npos) {
        return use_fault(id, 1);
    }
    const std::string_view number = text.substr(equals + 1);
    double severity = 0;
    const auto [end, failure] =
        std::from_chars(number.data(), number.data() + number.size(), severity);
    if (find_fault(id) != nullptr &&
        (failure != std::errc{} || end != number.data() + number.size())) {
        return Error{ErrorKind::kUsage,
                     fmt::format("fault {} got severity \"{}\"; expected a number from 0 to 1, for "
                                 "example {}=0.5",
                                 id, number, id)};
    }
    return use_fault(id, severity);
}

double change_amount(const FaultChange& change, double severity) {
    return change.mild * std::pow(change.worst / change.mild, severity);
}

void apply_fault(BoardParameters& board, const Fault& fault, double severity, double part) {
    if (part <= 0) {
        return;
    }
    for (const FaultChange& change : fault.changes) {
        if (change.member == nullptr) {
            break;
        }
        const ParameterInfo& info = info_of(change.member);
        double& value = board.*(change.member);
        value = std::clamp(changed(value, change.kind, change_amount(change, severity), part),
                           info.low, info.high);
    }
}

Status apply_fault(BoardParameters& board, std::string_view id, double severity) {
    const Result<FaultUse> use = use_fault(id, severity);
    if (!use) {
        return use.error();
    }
    apply_fault(board, *use.value().fault, severity);
    return Done{};
}

Status fit_fault(FaultyBoard& board, const FaultUse& use) {
    const std::string_view id = use.fault->id;
    if (std::find(board.fitted.begin(), board.fitted.end(), id) != board.fitted.end()) {
        return Error{ErrorKind::kUsage,
                     fmt::format("fault {} is given twice; expected each fault once: say its "
                                 "severity once",
                                 id)};
    }
    board.fitted.push_back(id);
    if (use.live()) {
        board.live.push_back(use);
    } else {
        apply_fault(board.parameters, *use.fault, use.severity);
    }
    return Done{};
}

} // namespace yokedock::sim
