// SPDX-License-Identifier: MIT
#include "tests/unit/board/fault_page.hpp"
#include "demo/virtual_bench/board/faults.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::test {

namespace {

using namespace sim;

constexpr const char* kHead =
    R"(<!-- Made from demo/virtual_bench/board/faults_*.cpp by the target fault_page; a test fails when it is stale. -->
# Faults of the simulated board

A fault changes component values of the [board model](board_model.md), never a reading. Its severity goes from 0, barely
out of tolerance, to 1, as bad as it gets on a board that can still be powered, or one that is plainly dead. Between the
two an amount moves in equal ratios: at 0.5 it is the geometric mean of its ends. How parts fail is common practice
(no source) and assumption; nothing here is tuned to what the analysis or the diagnosis says.

    yokedock_virtual_bench --list-faults
    yokedock_virtual_bench --listen 4100 --fault v_coupling_dried=0.6 --fault h_joint_bad

In a board file, on top of its values ([`quillwood13_boost_open.json`](../demo/boards/quillwood13_boost_open.json)):

    "faults": [ { "fault": "v_coupling_dried", "severity": 0.6 },
                { "fault": "h_joint_bad", "severity": 1, "intermittent": { "on_s": 2, "off_s": 5, "seed": 1 } },
                { "fault": "afc_open", "heat": { "from_c": 40, "to_c": 50 } } ]

* Severity is 1 when not given. Several faults compose; each may be there once. Order: the file's values, its faults,
  `--set`, `--fault`.
* `intermittent`: on and off for exponentially distributed times of these means, drawn from the seed; the first state is
  drawn, too. Any fault can be.
* `heat`: comes in between two temperatures of the heat sink, from nothing to all of it (`from_c` above `to_c`: there when
  cold, gone when warm). A part p of a fault is: a factor to the power p, p times what is in series, p times the
  conductance in parallel; a switch is thrown at p = 0.5. Looked at every 10 ms, in steps of 1/64. Some have it from the
  table: "heat" below. A board is cold with `thermal.start_c=25`; `thermal.pace=60` warms it up sixty times faster
  than in life.
* Both act at instants of the board's own time, so the same board, faults and seeds always run alike.

x: factor on the value; +: in series or added; ||: in parallel; =: in place of the value.
)";

constexpr const char* kTail = R"(
## What these faults do not show on the demo board

* `rectifier_open` alone: the regulator has 7 V in hand and hides the half-wave ripple (2 mV of it on the rail); with a
  dried reservoir, or low mains, it comes through at the mains frequency.
* `decoupling_dried`: the model's supply is stiff up to 10 kHz, and loads are averaged over 50 us; what the capacitor does
  at the line rate is not modelled.
* `sync_weak` and `sync_differentiator_open` up to a severity of 0.5, `afc_open` and `afc_pulse_missing` up to 0.3,
  `sync_coupling_dried` up to 0.2, `sync_integrator_open` up to 0.1: a board whose rates are right stays locked, and only its
  hold and pull-in ranges are narrower. `afc_filter_open`: locked at any severity; jitter is up by some half.
* `v_timing_cap_low` and `ramp_resistor_high` near 1: the swing is so small that the field comparator never sees a pulse.
* `heatsink_loose`, `ic_fails_warm`, `v_warm_drift`: nothing while the board is cold.
* `v_ic_reversed`, and other faults that a real bench would trip on: with the board simply on (`--power on`, model bench) the
  supply has no limit of its own, so currents can be absurd; with relays the bench stops the start.
)";

std::string change_text(const FaultChange& change) {
    const std::span<const ParameterInfo> table = parameter_table();
    const auto info = std::find_if(table.begin(), table.end(), [&](const ParameterInfo& each) {
        return each.member == change.member;
    });
    const char* sign = "";
    switch (change.kind) {
    case ChangeKind::kScale:
        sign = "x";
        break;
    case ChangeKind::kAdd:
        sign = "+";
        break;
    case ChangeKind::kParallel:
        sign = "\\|\\|";
        break;
    case ChangeKind::kSet:
        sign = "=";
        break;
    }
    const bool bare =
        change.kind == ChangeKind::kScale || info->unit == "1" || info->unit == "0 or 1";
    const std::string unit = bare ? "" : fmt::format(" {}", info->unit);
    const std::string amount = change.mild == change.worst
                                   ? fmt::format("{:g}", change.worst)
                                   : fmt::format("{:g} to {:g}", change.mild, change.worst);
    return fmt::format("`{}` {} {}{}", info->path, sign, amount, unit);
}

std::string row(const Fault& fault) {
    std::string changes;
    for (const FaultChange& change : fault.changes) {
        if (change.member != nullptr) {
            changes += (changes.empty() ? "" : "; ") + change_text(change);
        }
    }
    std::string text(fault.text);
    if (fault.heat) {
        text += fmt::format(" (heat: {:g} to {:g} degC)", fault.heat->from_c, fault.heat->to_c);
    }
    if (fault.service) {
        text += " (mistake at a repair)";
    }
    return fmt::format("| `{}` | {} | {} | {} |\n", fault.id, fault.section, text, changes);
}

} // namespace

std::string fault_page() {
    std::string page = kHead;
    page += "\n| fault | section | what | severity 0 to 1 |\n|---|---|---|---|\n";
    for (const Fault& fault : fault_table()) {
        page += row(fault);
    }
    return page + kTail;
}

} // namespace yokedock::test
