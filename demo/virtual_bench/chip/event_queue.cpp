// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/event_queue.hpp"
#include <algorithm>

namespace yokedock::sim {

EventQueue::EventQueue(avr_t* avr) : avr_(avr) {
    when_.fill(kNeverCycle);
}

void EventQueue::bind(Slot slot, Handler handler, void* context) {
    bindings_[index(slot)] = {handler, context};
}

void EventQueue::set(Slot slot, Cycle when) {
    when_[index(slot)] = when;
    if (!dispatching_ &&
        when < armed_) { // a later time needs nothing: an early call finds nothing due
        arm(when);
    }
}

void EventQueue::reset() {
    const Cycle alarm = this->when(Slot::kAlarm);
    const Cycle stop = this->when(Slot::kStop);
    when_.fill(kNeverCycle);
    armed_ = kNeverCycle;
    set(Slot::kAlarm, alarm);
    set(Slot::kStop, stop);
}

void EventQueue::arm(Cycle when) {
    armed_ = when;
    const Cycle left = when > avr_->cycle ? when - avr_->cycle : 0;
    avr_cycle_timer_register(avr_, left, on_timer, this);
    avr_->run_cycle_count = std::min<Cycle>(avr_->run_cycle_count, std::max<Cycle>(left, 1));
}

std::size_t EventQueue::earliest() const {
    std::size_t best = 0;
    for (std::size_t i = 1; i < kSlotCount; ++i) {
        if (when_[i] < when_[best]) {
            best = i;
        }
    }
    return best;
}

Cycle EventQueue::dispatch() {
    for (;;) {
        const std::size_t slot = earliest();
        const Cycle at = when_[slot];
        if (at > avr_->cycle) {
            return at;
        }
        when_[slot] = kNeverCycle;
        bindings_[slot].handler(bindings_[slot].context, at);
    }
}

avr_cycle_count_t EventQueue::on_timer(avr_t*, avr_cycle_count_t, void* self) {
    auto& queue = *static_cast<EventQueue*>(self);
    queue.dispatching_ = true;
    queue.armed_ = queue.dispatch();
    queue.dispatching_ = false;
    return queue.armed_ == kNeverCycle ? 0 : queue.armed_; // 0: simavr drops the timer
}

} // namespace yokedock::sim
