// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/bench_relays.hpp"
#include <algorithm>
#include <limits>

namespace yokedock::sim {

void BenchRelays::configure(const BoardParameters& p) {
    operate_s_ = p.bench_relay_operate_s;
    release_s_ = p.bench_relay_release_s;
    threshold_a_ = p.bench_over_current_a;
    delay_s_ = p.bench_over_current_delay_s;
}

bool BenchRelays::k1_driven() const {
    return drive_.k1 && !latched_ && !drive_.stop_pressed;
}

std::array<bool, BenchRelays::kCount> BenchRelays::coils() const {
    const bool run = !drive_.stop_pressed; // K3 and K4 keep their supply: loads are not cut live
    return {k1_driven(), drive_.k2 && run, drive_.k3, drive_.k4, drive_.k5 && run};
}

bool& BenchRelays::contact(std::size_t k) {
    bool Contacts::*const members[kCount] = {&Contacts::k1, &Contacts::k2, &Contacts::k3,
                                             &Contacts::k4, &Contacts::k5};
    return contacts_.*members[k];
}

void BenchRelays::coils_changed(double time_s) {
    const auto now = coils();
    for (std::size_t k = 0; k < kCount; ++k) {
        if (now[k] == energised_[k]) {
            continue;
        }
        energised_[k] = now[k];
        moves_[k].reset();
        if (contact(k) != now[k]) {
            moves_[k] = Move{time_s + (now[k] ? operate_s_ : release_s_), now[k]};
        }
    }
}

/// Two NAND gates: over-current sets, K1's drive low clears; while it is low the pin shows the
/// comparator.
void BenchRelays::update_latch(double time_s) {
    latched_ = drive_.k1 && (latched_ || comparator_);
    const bool pin = latched_ || comparator_;
    if (pin != pin_) {
        pin_ = pin;
        pin_changes_.push_back({time_s, pin});
    }
    coils_changed(time_s);
}

void BenchRelays::set_drive(double time_s, const BenchDrive& drive) {
    drive_ = drive;
    update_latch(time_s);
    update_next();
}

void BenchRelays::see_current(double from_s, double from_a, double to_s, double to_a) {
    const bool over = to_a > threshold_a_;
    if (over == over_) {
        return;
    }
    over_ = over;
    const double rise_a = to_a - from_a;
    const double part = rise_a == 0 ? 0 : std::clamp((threshold_a_ - from_a) / rise_a, 0.0, 1.0);
    const double at_s = from_s + part * (to_s - from_s) + delay_s_;
    delayed_.push_back(
        {std::max(at_s, to_s), over}); // a step is shorter than the delay or its cost
    update_next();
}

bool BenchRelays::advance(double time_s) {
    while (!delayed_.empty() && delayed_.front().time_s <= time_s) {
        const Move change = delayed_.front();
        delayed_.pop_front();
        comparator_ = change.made;
        update_latch(change.time_s);
    }
    bool moved = false;
    for (std::size_t k = 0; k < kCount; ++k) {
        if (moves_[k] && moves_[k]->time_s <= time_s) {
            contact(k) = moves_[k]->made;
            moves_[k].reset();
            moved = true;
        }
    }
    update_next();
    return moved;
}

void BenchRelays::update_next() {
    next_s_ = delayed_.empty() ? std::numeric_limits<double>::infinity() : delayed_.front().time_s;
    for (const auto& move : moves_) {
        next_s_ = move ? std::min(next_s_, move->time_s) : next_s_;
    }
}

std::optional<PinChange> BenchRelays::take_pin_change() {
    if (pin_changes_.empty()) {
        return std::nullopt;
    }
    const PinChange first = pin_changes_.front();
    pin_changes_.pop_front();
    return first;
}

} // namespace yokedock::sim
