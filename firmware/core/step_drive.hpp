// SPDX-License-Identifier: MIT
// The edges of a load step's drive: each is put in its place ahead of its time, so that it stands
// at its exact tick; one that could not be ends the step, with the drive off.
//
// Hardware provides
//   bool arm_step(bool horizontal, uint16_t low, bool on);   that load's drive goes on or off at
//   the
//                                  next tick whose low half this is, less than 65536 ticks ahead;
//                                  false: too late
//   bool step_passed(bool horizontal);     the edge armed last has come
//   void step_off();                       both, at once
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

template <class Hardware> class StepDrive {
  public:
    explicit StepDrive(Hardware& hardware) : hw_(hardware) {}

    enum class Event : uint8_t { kNone, kBegun, kDone, kLate };

    /// first_edge: tick at which the drive goes on first.
    void begin(const wire::StepSettings& settings, uint32_t first_edge) {
        horizontal_ = settings.load == 2;
        on_ticks_ = settings.on_ticks;
        off_ticks_ = settings.off_ticks;
        left_ = settings.periods;
        periods_ = 0;
        edge_ = first_edge;
        on_ = true;
        armed_ = false;
        active_ = true;
    }

    /// Main loop, at least every kMinStepTicks less kSlackTicks.
    Event poll(uint32_t now) {
        if (!active_) {
            return Event::kNone;
        }
        Event event = Event::kNone;
        if (armed_ && hw_.step_passed(horizontal_)) {
            armed_ = false;
            event = passed();
        }
        if (active_ && !armed_) {
            const int32_t ahead = static_cast<int32_t>(edge_ - now);
            if (ahead < kSlackTicks) {
                stop();
                return Event::kLate;
            }
            if (ahead < kAheadTicks) {
                armed_ = hw_.arm_step(horizontal_, static_cast<uint16_t>(edge_), on_);
                if (!armed_) {
                    stop();
                    return Event::kLate;
                }
            }
        }
        return event;
    }

    void stop() {
        hw_.step_off();
        active_ = false;
    }

    uint16_t periods() const { return periods_; } ///< over, of the last step

  private:
    /// More than the interrupts of one line may take, before the hardware looks at its own count.
    static constexpr int32_t kSlackTicks = 1500;
    /// Not earlier: the compare unit knows the low half only.
    static constexpr int32_t kAheadTicks = 64000;

    Event passed() {
        const bool was_on = on_;
        edge_ += was_on ? on_ticks_ : off_ticks_;
        on_ = !was_on;
        if (was_on) {
            return periods_ == 0 ? Event::kBegun : Event::kNone;
        }
        ++periods_;
        if (--left_ != 0) {
            return Event::kNone;
        }
        stop();
        return Event::kDone;
    }

    Hardware& hw_;
    uint32_t on_ticks_ = 0;
    uint32_t off_ticks_ = 0;
    uint32_t edge_ = 0; ///< the next one
    uint16_t left_ = 0; ///< periods
    uint16_t periods_ = 0;
    bool horizontal_ = false;
    bool on_ = false; ///< what the next edge makes of the drive
    bool armed_ = false;
    bool active_ = false;
};

} // namespace firmware
} // namespace yokedock
