// SPDX-License-Identifier: MIT
// One clock for all models. simavr runs its own cycle timers to exhaustion one after the other, so
// two of them can be seen in the wrong order when an instruction spans both; this queue hangs on a
// single simavr timer and hands out events strictly in time order, ties in slot order.
#pragma once
#include "demo/virtual_bench/chip/chip.hpp"
#include <array>
#include <simavr/sim_avr.h>

namespace yokedock::sim {

/// Who may wait for a time; one pending event each. The order settles ties.
enum class Slot : std::uint8_t {
    kTimer1,
    kTimer2,
    kTimer3,
    kTimer4,
    kTimer5,
    kCapture4,
    kCapture5,
    kNoiseCanceler4,
    kNoiseCanceler5,
    kAdcSample,
    kAdcDone,
    kSerialOut,
    kSerialIn,
    kEeprom,
    kAlarm,
    kStop,
};
constexpr std::size_t kSlotCount = 16;

class EventQueue {
  public:
    using Handler = void (*)(void* context, Cycle at);

    explicit EventQueue(avr_t* avr);
    void bind(Slot slot, Handler handler, void* context);

    /// Replaces the slot's event; kNeverCycle cancels. A time in the past runs after the current
    /// instruction.
    void set(Slot slot, Cycle when);
    Cycle when(Slot slot) const { return when_[index(slot)]; }

    /// After simavr has been reset (its timers are gone): forgets every event but the alarm and the
    /// stop.
    void reset();

  private:
    struct Binding {
        Handler handler = nullptr;
        void* context = nullptr;
    };
    static constexpr std::size_t index(Slot slot) { return static_cast<std::size_t>(slot); }
    static avr_cycle_count_t on_timer(avr_t* avr, avr_cycle_count_t when, void* self);
    std::size_t earliest() const;
    Cycle dispatch();
    void arm(Cycle when);

    avr_t* avr_;
    std::array<Cycle, kSlotCount> when_;
    std::array<Binding, kSlotCount> bindings_{};
    Cycle armed_ = kNeverCycle; ///< when simavr will call; never later than the earliest event
    bool dispatching_ = false;
};

} // namespace yokedock::sim
