// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/timer_model.hpp"
#include <algorithm>

namespace yokedock::sim {
namespace {
constexpr Cycle kNoiseCancelerCycles = 4; // data sheet, "Noise Canceler"
constexpr std::uint8_t kNoiseCancelerBit = 0x80;
} // namespace

TimerModel::TimerModel(avr_t* avr, avr_timer_t* port, EventQueue& queue, Slot slot, Slot noise_slot,
                       TimerClient& client)
    : avr_(avr), port_(port), queue_(queue), slot_(slot), noise_slot_(noise_slot), client_(client),
      number_(static_cast<unsigned>(port->name - '0')), wide_(port->r_tcnth != 0),
      max_(wide_ ? 0xFFFF : 0xFF) {
    queue_.bind(slot_, on_event, this);
    if (noise_slot_ != slot_) {
        queue_.bind(noise_slot_, on_noise_canceled, this);
    }
    take_registers();
    reset();
}

void TimerModel::reset() {
    mode_ = timer_mode(0, wide_);
    divisor_ = 0;
    standing_ = 0;
    wrap_ = max_;
    ocr_ = {};
    armed_ = {};
    latch_ = {};
    temp_ = 0;
    top_written_ = top_written_before_ = false;
    icr_ = 0;
}

// ---- time and count
// --------------------------------------------------------------------------------

std::uint32_t TimerModel::count(Cycle at) const {
    if (divisor_ == 0) {
        return standing_;
    }
    return static_cast<std::uint32_t>((static_cast<std::int64_t>(at) - base_) / divisor_);
}

std::uint32_t TimerModel::top() const {
    switch (mode_.top) {
    case TopSource::kOcrA:
        return ocr_[0];
    case TopSource::kIcr:
        return icr_;
    case TopSource::kFixed:
        break;
    }
    return mode_.fixed_top;
}

Cycle TimerModel::match_time(unsigned channel) const {
    return static_cast<Cycle>(base_ + (std::int64_t{ocr_[channel]} + 1) * divisor_);
}

Cycle TimerModel::wrap_time() const {
    return static_cast<Cycle>(base_ + (std::int64_t{wrap_} + 1) * divisor_);
}

void TimerModel::schedule() {
    if (divisor_ == 0) {
        queue_.set(slot_, kNeverCycle);
        return;
    }
    Cycle next = wrap_time();
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (armed_[channel] && ocr_[channel] <= wrap_) {
            next = std::min(next, match_time(channel));
        }
    }
    queue_.set(slot_, next);
}

Cycle TimerModel::next_latch_event(unsigned channel) const {
    if (divisor_ == 0) {
        return kNeverCycle;
    }
    const bool matches = armed_[channel] && ocr_[channel] <= wrap_;
    if (matches) {
        return match_time(channel);
    }
    return wrap_time();
}

// ---- events
// ----------------------------------------------------------------------------------------

void TimerModel::on_event(void* self, Cycle at) {
    static_cast<TimerModel*>(self)->event(at);
}

void TimerModel::event(Cycle at) {
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (armed_[channel] && ocr_[channel] <= wrap_ && match_time(channel) == at) {
            match(channel, at);
        }
    }
    if (wrap_time() == at) {
        wrap(at);
    }
    schedule();
}

void TimerModel::match(unsigned channel, Cycle at) {
    armed_[channel] = false;
    // A match at TOP falls together with BOTTOM, whose action wins: the output is constant. A
    // toggle has no action at BOTTOM and takes place.
    const bool at_top = mode_.buffered() && ocr_[channel] == wrap_;
    if (!at_top || compare_mode(channel) == avr_timer_com_toggle) {
        act_on_pin(channel, false, at);
    }
    auto& vector = port_->comp[channel].interrupt;
    if (!flag(vector)) {
        raise(vector, at);
        client_.compare_flag_rose(number_, channel, at);
    }
}

void TimerModel::wrap(Cycle at) {
    const bool at_top = wrap_ == top();
    const bool overflow = mode_.counting != Counting::kClearOnMatch || wrap_ == max_;
    base_ = static_cast<std::int64_t>(at);
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (!has(channel)) {
            continue;
        }
        if (mode_.buffered()) {
            ocr_[channel] = stored(port_->comp[channel].r_ocr);
            act_on_pin(channel, true, at);
        }
        armed_[channel] = true;
    }
    wrap_ = top();
    top_written_before_ = top_written_;
    top_written_ = false;
    if (overflow) {
        client_.overflowed(number_, at, flag(port_->overflow));
        raise(port_->overflow, at);
    }
    if (mode_.top == TopSource::kIcr && at_top) {
        raise(port_->icr, at); // ICFn marks TOP when ICRn defines it
    }
}

void TimerModel::act_on_pin(unsigned channel, bool at_bottom, Cycle at) {
    if (!connected(channel)) {
        return;
    }
    bool level = latch_[channel];
    switch (compare_mode(channel)) {
    case avr_timer_com_toggle:
        level = at_bottom ? level : !level;
        break;
    case avr_timer_com_clear:
        level = at_bottom;
        break;
    default: // set on match
        level = !at_bottom;
    }
    if (level != latch_[channel]) {
        latch_[channel] = level;
        client_.pin_may_have_changed(number_, channel, at);
    }
}

void TimerModel::raise(avr_int_vector_t& vector, Cycle) {
    if (flag(vector) && avr_regbit_get(avr_, vector.enable) == 0) {
        return; // nothing would change
    }
    avr_raise_interrupt(avr_, &vector);
}

bool TimerModel::flag(const avr_int_vector_t& vector) const {
    return avr_regbit_get(avr_, vector.raised) != 0;
}

// ---- changes of setting
// ----------------------------------------------------------------------------

unsigned TimerModel::compare_mode(unsigned channel) const {
    return has(channel) ? avr_regbit_get(avr_, port_->comp[channel].com) : 0u;
}

bool TimerModel::connected(unsigned channel) const {
    const unsigned mode = compare_mode(channel);
    if (mode == avr_timer_com_toggle && mode_.buffered()) {
        // Toggling in fast PWM exists on channel A only: modes 14 and 15, Timer2 mode 7.
        return channel == 0 && mode_.top != TopSource::kFixed;
    }
    return mode != avr_timer_com_normal;
}

void TimerModel::reconfigure() {
    const std::uint32_t count_now = count(avr_->cycle);
    const TimerMode mode = timer_mode(avr_regbit_get_array(avr_, port_->wgm, 4), wide_);
    const unsigned clock = avr_regbit_get_array(avr_, port_->cs, 3);
    const bool external = clock != 0 && (port_->cs_div[clock] & AVR_TIMER_EXTCLK_CHOOSE) != 0;
    const std::uint32_t divisor = clock == 0 || external ? 0u : 1u << port_->cs_div[clock];
    if (external || (divisor != 0 && mode.counting == Counting::kUnsupported)) {
        client_.not_modelled("Timer" + std::to_string(number_) +
                             (external ? " on an external clock" : " in a phase correct mode"));
    }
    if (mode != mode_ || divisor != divisor_) {
        mode_ = mode;
        divisor_ = divisor;
        for (unsigned channel = 0; channel < 3; ++channel) {
            if (has(channel) &&
                (!mode_.buffered() || count_now == 0)) { // at BOTTOM: the buffer is open
                ocr_[channel] = stored(port_->comp[channel].r_ocr);
            }
        }
        restart(count_now, false);
    }
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (has(channel)) {
            client_.pin_may_have_changed(number_, channel, avr_->cycle);
        }
    }
}

/// Counts on from `count` at this cycle. block_equal: a write to TCNTn blocks the match of the
/// value written.
void TimerModel::restart(std::uint32_t count, bool block_equal) {
    standing_ = count;
    wrap_ = count <= top() ? top() : max_;
    for (unsigned channel = 0; channel < 3; ++channel) {
        armed_[channel] =
            has(channel) && (block_equal ? ocr_[channel] > count : ocr_[channel] >= count);
    }
    if (divisor_ != 0) { // the prescaler runs free: counts fall on multiples of its length
        const Cycle tick = avr_->cycle - avr_->cycle % divisor_;
        base_ = static_cast<std::int64_t>(tick) - std::int64_t{count} * divisor_;
    }
    schedule();
}

void TimerModel::top_changed() {
    const std::uint32_t count_now = count(avr_->cycle);
    wrap_ = count_now <= top() ? top() : max_;
    if (divisor_ != 0 && count_now > top()) {
        ++top_missed_;
    }
    schedule();
}

// ---- input capture
// ---------------------------------------------------------------------------------

void TimerModel::capture_pin(Cycle at, bool high) {
    if ((avr_->data[port_->ices.reg] & kNoiseCancelerBit) == 0) {
        queue_.set(noise_slot_, kNeverCycle);
        capture(at, high);
        return;
    }
    capture_waiting_level_ = high;
    queue_.set(noise_slot_, high == capture_level_ ? kNeverCycle : at + kNoiseCancelerCycles);
}

void TimerModel::on_noise_canceled(void* self, Cycle at) {
    auto& timer = *static_cast<TimerModel*>(self);
    timer.capture(at, timer.capture_waiting_level_);
}

void TimerModel::capture(Cycle at, bool high) {
    if (high == capture_level_) {
        return;
    }
    capture_level_ = high;
    const bool on_rising = avr_regbit_get(avr_, port_->ices) != 0;
    if (high != on_rising || mode_.top == TopSource::kIcr) {
        return;
    }
    icr_ = static_cast<std::uint16_t>(count(at));
    raise(port_->icr, at);
}

} // namespace yokedock::sim
