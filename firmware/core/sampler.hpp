// SPDX-License-Identifier: MIT
// Which line is sampled where, and which trigger a conversion result belongs to.
//
// The slot handler plans the trigger of the slot after the present one; the conversion handler takes the
// triggers in the same order. At most two are on the way: one converting, one planned.
//
//   plan()  --> [entry][entry] --> take()          empty: head == tail; full: head - tail == 2
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

struct Trigger {
    uint32_t time; ///< ticks, of the moment the trigger flag rises
    uint8_t channel;
};

/// CPU cycles from the end of a conversion until its handler must have run: the slot handler and one other.
constexpr uint16_t kResultLatencyTicks = 500;

class Sampler {
  public:
    /// Main loop, while sampling is off. settings must have passed the request checks.
    void configure(const wire::CaptureSettings& settings, uint16_t conversion_ticks) {
        entries_ = settings.entries;
        for (uint8_t i = 0; i < settings.entries; ++i) {
            const wire::ScheduleEntry& from = settings.schedule[i];
            entry_[i].channel = from.channel;
            entry_[i].first = from.first_place;
            entry_[i].step = from.step;
            entry_[i].places = from.places;
            entry_[i].place = from.first_place;
            entry_[i].left = from.places;
        }
        at_ = entry_;
        end_ = entry_ + settings.entries;
        min_spacing_ = static_cast<uint16_t>(conversion_ticks + kResultLatencyTicks);
        conversion_ticks_ = conversion_ticks;
        head_ = tail_ = 0;
        waiting_ = 0;
        last_low_ = 0;
        late_ = 0;
    }

    void enable(bool on) { enabled_ = on && entries_ != 0 ? 1 : 0; }
    uint8_t enabled() const { return enabled_; }

    /// Slot handler: the place, in ticks after the start of the slot described, where it is to be triggered;
    /// 0: nowhere. start, length: of that slot. Takes its line's turn of the schedule when it triggers.
    uint16_t plan(uint32_t start, uint16_t length, uint8_t starts_line) {
        uint16_t place;
        if (starts_line != 0) {
            place = at_->place;
        } else if (waiting_ != 0) {
            place = waiting_;
        } else {
            return 0;
        }
        waiting_ = 0;
        if (place >= length) {
            waiting_ = static_cast<uint16_t>(place - length); // in the line's second half, if it has one
            return 0;
        }
        if (place == 0) {
            place = 1; // a match at 0 cannot be had: the compare value is place - 1
        }
        const uint32_t time = start + place;
        const uint8_t head = head_;
        if (static_cast<uint16_t>(static_cast<uint16_t>(time) - last_low_) < min_spacing_ ||
            static_cast<uint8_t>(head - tail_) >= 2) {
            return 0; // the line keeps its turn for the next line
        }
        last_low_ = static_cast<uint16_t>(time);
        Trigger& trigger = fifo_[head & 1];
        trigger.time = time;
        trigger.channel = at_->channel;
        head_ = static_cast<uint8_t>(head + 1);
        next_turn();
        return place;
    }

    /// Channel the converter must be set to now, for the trigger planned last, when no other is on the way.
    bool sole_channel(uint8_t& channel) const {
        channel = fifo_[(head_ - 1) & 1].channel;
        return static_cast<uint8_t>(head_ - tail_) == 1;
    }

    // ---- conversion handler --------------------------------------------------------------------------

    bool empty() const { return head_ == tail_; }
    const Trigger& oldest() const { return fifo_[tail_ & 1]; }
    void take() { tail_ = static_cast<uint8_t>(tail_ + 1); }

    /// True when a result that is ready at now_low (low half of a tick) can belong to a trigger at time.
    bool age_is_right(uint16_t now_low, uint32_t time) const {
        const uint16_t age = static_cast<uint16_t>(now_low - static_cast<uint16_t>(time));
        return static_cast<uint16_t>(age - conversion_ticks_ + kEarlyTicks) <
               kResultLatencyTicks + kEarlyTicks;
    }

    /// Forgets the triggers on the way and counts one sample lost.
    void drop_late() {
        tail_ = head_;
        if (late_ != 0xFFFF) {
            ++late_;
        }
    }
    uint16_t late() const { return late_; }

  private:
    /// The conversion's start waits for the converter's clock: results come this much early at the most.
    static constexpr uint16_t kEarlyTicks = 130;

    struct Entry {
        uint16_t place;
        uint16_t left;
        uint16_t step;
        uint16_t first;
        uint16_t places;
        uint8_t channel;
    };

    void next_turn() {
        Entry* entry = at_;
        if (--entry->left == 0) {
            entry->left = entry->places;
            entry->place = entry->first;
        } else {
            entry->place = static_cast<uint16_t>(entry->place + entry->step);
        }
        if (++entry == end_) {
            entry = entry_;
        }
        at_ = entry;
    }

    volatile uint8_t enabled_ = 0;
    volatile uint8_t head_ = 0;
    volatile uint8_t tail_ = 0;
    uint8_t entries_ = 0;
    uint16_t waiting_ = 0;
    uint16_t last_low_ = 0;
    uint16_t min_spacing_ = 0;
    uint16_t conversion_ticks_ = 0;
    volatile uint16_t late_ = 0;
    Entry* at_ = nullptr;
    Entry* end_ = nullptr;
    Trigger fifo_[2] = {};
    Entry entry_[wire::kMaxSchedule] = {};
};

/// Ticks from the trigger to the held sample: two converter clocks (ATmega2560 data sheet, ADC, "Prescaling
/// and conversion timing"). Silicon adds up to three CPU cycles of synchronisation: first-hardware checklist.
constexpr uint16_t aperture_ticks(uint8_t prescale_log2) {
    return static_cast<uint16_t>(2u << prescale_log2);
}

/// Ticks from the trigger to the result: 13.5 converter clocks (same table, auto-triggered).
constexpr uint16_t conversion_ticks(uint8_t prescale_log2) {
    return static_cast<uint16_t>((27u << prescale_log2) / 2);
}

} // namespace firmware
} // namespace yokedock
