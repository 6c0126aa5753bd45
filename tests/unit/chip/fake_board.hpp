// SPDX-License-Identifier: MIT
// A board for tests of the bench: comparator edges at given times, codes from a rule, and a
// protocol of what it was told.
#pragma once
#include "demo/virtual_bench/board_port.hpp"
#include <algorithm>
#include <functional>
#include <vector>

namespace yokedock::sim {

struct SyncChange {
    double time_s;
    bool tip;
};

struct FakeBoard : BoardPort {
    void sync_edge(double time_s, bool tip) override {
        // The caller may not have run the board beyond an edge, nor leave it behind.
        rules_kept = rules_kept && time_s >= stands_at_s && time_s <= stands_at_s + 1e-12;
        sync.push_back({time_s, tip});
    }
    std::optional<RetraceEdge> run_until(double limit_s) override {
        rules_kept = rules_kept && limit_s >= stands_at_s;
        if (next < edges.size() && edges[next].time_s <= limit_s) {
            stands_at_s = edges[next].time_s;
            return edges[next++];
        }
        stands_at_s = limit_s;
        return std::nullopt;
    }
    void set_drive(double time_s, const BenchDrive& drive) override {
        drives.push_back({time_s, drive});
    }
    std::optional<PinChange> take_over_current() override {
        if (next_pin < pin_changes.size() && pin_changes[next_pin].time_s <= stands_at_s) {
            return pin_changes[next_pin++];
        }
        return std::nullopt;
    }
    int adc_code(ChannelId channel, double time_s) override {
        rules_kept = rules_kept && time_s <= stands_at_s && time_s >= stands_at_s - 64e-6;
        return code(channel, time_s);
    }

    std::vector<RetraceEdge> edges; ///< in time order
    std::function<int(ChannelId, double)> code = [](ChannelId, double) { return 512; };
    std::vector<SyncChange> sync;
    struct Driven {
        double time_s;
        BenchDrive drive;
    };
    std::vector<Driven> drives;
    std::vector<PinChange> pin_changes; ///< of the over-current pin, in time order
    std::size_t next_pin = 0;
    std::size_t next = 0;
    double stands_at_s = 0;
    bool rules_kept = true;
};

} // namespace yokedock::sim
