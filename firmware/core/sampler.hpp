// SPDX-License-Identifier: MIT
// Which line is sampled where, and which trigger a conversion result belongs to.
//
// A ring of four turns of the schedule, in order. The conversion handler prepares turns ahead, the
// slot handler plans them into slots, the conversion handler takes them with their results:
//
//   taken <= planned <= prepared <= taken + 4 turns     counting up, modulo 256, kTurn per turn
//   [ on the way )[ ready to plan )[ free )
#pragma once
#include "firmware/core/rare.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

/// A trigger that a result belongs to.
struct Trigger {
    uint16_t time_low; ///< low half of the tick the trigger flag rose
    uint8_t channel;
    uint8_t quiet; ///< not 0: for the guard only
};

/// CPU cycles from the end of a conversion until its handler has run for sure.
constexpr uint16_t kResultLatencyTicks = 500;
/// Results are told this much before their time at the most; the trigger resets the converter's
/// clock, so conversions are equally long. Little, for the result before, if it waited for long,
/// must not pass for this one.
constexpr uint16_t kEarlyTicks = 8;
/// A result is matched with a trigger up to this long after the soonest moment. More than the
/// latency, which only sets the spacing; less than spacing and conversion together, so that no
/// trigger but the right one fits.
constexpr uint16_t kResultWindowTicks = 700 + kEarlyTicks;

class Sampler {
  public:
    /// Main loop, while sampling is off. settings must have passed the request checks. line_ticks:
    /// whole ticks of a line; conversion_ticks: trigger to result; spacing: trigger_spacing().
    void configure(const wire::CaptureSettings& settings, uint16_t line_ticks,
                   uint16_t conversion_ticks, uint16_t spacing) {
        for (uint8_t i = 0; i < settings.entries; ++i) {
            const wire::ScheduleEntry& from = settings.schedule[i];
            // A trigger at 0 cannot be had, for the compare value is place - 1: then all are one
            // tick later.
            const uint16_t first = from.first_place == 0 ? 1 : from.first_place;
            Entry* next = i + 1 < settings.entries ? &entry_[i + 1] : entry_;
            const uint16_t last = static_cast<uint16_t>(first + from.step * (from.places - 1u));
            entry_[i] = {first,
                         last,
                         from.step,
                         first,
                         next,
                         static_cast<uint8_t>(from.channel & wire::kScheduleChannelMask),
                         static_cast<uint8_t>(from.channel & wire::kScheduleQuiet)};
        }
        path.at = entry_;
        spacing_ = spacing;
        path.soonest = static_cast<uint16_t>(conversion_ticks - kEarlyTicks);
        path.least = 0;
        late_ = 0;
        path.waiting = 0;
        path.taken = path.planned = path.prepared = 0;
        set_line(line_ticks);
        fit_schedule();
        refill();
    }

    /// Main loop, interrupts off: lines are this long from now on.
    void set_line(uint16_t line_ticks) {
        path.line_ticks = line_ticks;
        path.wait =
            static_cast<int16_t>(static_cast<int16_t>(spacing_) - static_cast<int16_t>(line_ticks));
        for (Turn& turn : path.turn) {
            turn.place = inside_line(turn.place);
        }
    }

    /// Main loop, right after set_line, interrupts on: the schedule itself, which no handler reads
    /// and which would hold them off for too long.
    void fit_schedule() {
        for (Entry& entry : entry_) {
            if (entry.last >= path.line_ticks) { // a sync change has made the line shorter
                entry.place = entry.last = entry.first = inside_line(entry.first);
            }
        }
    }

    void enable(bool on) { path.enabled = on ? 1 : 0; }
    uint8_t enabled() const { return path.enabled; }

    // ---- slot handler
    // ---------------------------------------------------------------------------------

    /// The place, in ticks after the start of the slot described, where it is to be triggered; 0:
    /// nowhere. start_low: low half of that slot's start tick.
    uint16_t plan(uint16_t start_low, uint16_t length, uint8_t starts_line) {
        const uint8_t at = path.planned;
        if (at == path.prepared) {
            return 0;
        }
        Turn& next = turn(at);
        uint16_t place;
        if (starts_line != 0) {
            const uint8_t skip = next.skip;
            if (skip != 0) {
                next.skip = static_cast<uint8_t>(skip - 1);
                return 0;
            }
            place = next.place;
        } else {
            place = path.waiting;
            path.waiting = 0;
            if (place == 0) {
                return 0;
            }
        }
        if (place >= length) {
            path.waiting =
                static_cast<uint16_t>(place - length); // in the line's second half, if it has one
            return 0;
        }
        next.time_low = static_cast<uint16_t>(start_low + place);
        path.planned = static_cast<uint8_t>(at + kTurn);
        return place;
    }

    /// Channel of the turn planned last; true when no other trigger is on the way, so that the
    /// converter must be set to it now.
    bool sole_channel(uint8_t& channel) {
        const uint8_t at = static_cast<uint8_t>(path.planned - kTurn);
        channel = turn(at).channel;
        return at == path.taken;
    }

    // ---- conversion handler
    // ---------------------------------------------------------------------------

    bool on_the_way() const { return path.taken != path.planned; }

    /// A result that is ready at now_low (low half of a tick): finds its trigger. False when none
    /// can be vouched for; then samples were lost (counted). Triggers too old to be it are
    /// forgotten. Slot handler held off.
    bool take(uint16_t now_low, Trigger& trigger) {
        uint8_t at = path.taken;
        for (const uint8_t end = path.planned; at != end; at = static_cast<uint8_t>(at + kTurn)) {
            const Turn& oldest = turn(at);
            const uint16_t over = static_cast<uint16_t>(now_low - oldest.time_low - path.soonest);
            if (over < kResultWindowTicks) {
                trigger.time_low = oldest.time_low;
                trigger.channel = oldest.channel;
                trigger.quiet = oldest.quiet;
                const bool in_step = at == path.taken;
                path.taken = static_cast<uint8_t>(at + kTurn);
                if (in_step) {
                    return true;
                }
                count_late(); // after a lost one, nobody has set the converter's channel for sure
                return false;
            }
            if ((over & 0x8000u) != 0) {
                break; // not triggered yet: the result is of one forgotten before
            }
        }
        path.taken = at;
        count_late();
        return false;
    }

    /// Channel the converter must be set to for the next trigger on the way, if there is one.
    bool next_channel(uint8_t& channel) {
        asm volatile("" ::
                         : "memory"); // taken is written before planned is read: see sole_channel()
        channel = turn(path.taken).channel;
        return on_the_way();
    }

    /// Channel of the turn after the oldest: the converter's from the oldest one's result on.
    uint8_t following_channel() { return turn(static_cast<uint8_t>(path.taken + kTurn)).channel; }

    /// The oldest trigger on the way came before the converter's channel was certain: its result
    /// will be counted late.
    void distrust() {
        Turn& oldest = turn(path.taken);
        oldest.time_low = static_cast<uint16_t>(oldest.time_low - 2 * kResultWindowTicks);
    }

    void refill() {
        while (static_cast<uint8_t>(path.prepared - path.taken) < 4 * kTurn) {
            prepare();
        }
    }

    uint16_t late() const { return late_; }

    /// Main loop: triggers seem to have brought no result for far too long. now_low: low half of
    /// the tick.
    bool stuck(uint16_t now_low) {
        return on_the_way() && path.planned == path.prepared &&
               static_cast<uint16_t>(
                   now_low - turn(static_cast<uint8_t>(path.planned - kTurn)).time_low) >= 0x4000u;
    }

    /// The same with the conversion handler shut out: forgets them. True when any was.
    bool recover(uint16_t now_low) {
        if (!stuck(now_low)) {
            return false;
        }
        path.taken =
            path.planned; // nothing is ready to plan: the slot handler does not change it meanwhile
        count_late();
        refill();
        return true;
    }

    struct Turn {
        uint16_t place;
        uint16_t time_low; ///< of the trigger, once planned
        uint8_t skip;      ///< lines to leave out first: the converter is not ready before
        uint8_t channel;
        uint8_t quiet;
        uint8_t unused;
    };
    /// Turns are numbered by their bytes, which are a power of two: a number masked is an offset.
    static constexpr uint8_t kTurn = 8;
    static_assert(sizeof(Turn) == kTurn, "turns are numbered by their bytes");

    struct Entry {
        uint16_t place; ///< of the next use
        uint16_t last;  ///< after this one it is `first` again
        uint16_t step;
        uint16_t first;
        Entry* next; ///< the one whose turn comes after
        uint8_t channel;
        uint8_t quiet;
    };

    /// A port may do by hand: plan() for slots that are whole lines, take() for the oldest turn
    /// when its age is right, prepare() for an entry that skips one line or none.
    struct Path {
        volatile uint8_t enabled;
        uint8_t taken;
        uint8_t planned;
        uint8_t prepared;
        Turn turn[4];
        uint16_t waiting; ///< place in the line's second half, after its start; 0: none
        Entry* at;        ///< entry of the next turn to prepare
        uint16_t soonest; ///< results are this many ticks old at least
        int16_t wait;     ///< conversion and latency less one line
        int16_t least;    ///< lowest place of the next turn that needs no skipped line
        uint16_t line_ticks;
    };
    Path path = {};

  private:
    /// Turn by number.
    Turn& turn(uint8_t number) {
        const uint8_t offset = number & (3 * kTurn);
        return *reinterpret_cast<Turn*>(reinterpret_cast<uint8_t*>(path.turn) + offset);
    }

    uint16_t inside_line(uint16_t place) const {
        return place < path.line_ticks ? place : static_cast<uint16_t>(path.line_ticks - 1);
    }

    /// Two triggers are spaced by at least conversion and latency: line + place - last place >=
    /// that.
    void prepare() {
        Entry* entry = path.at;
        Turn& next = turn(path.prepared);
        const uint16_t place = entry->place;
        const int16_t least = path.least;
        path.least = static_cast<int16_t>(static_cast<int16_t>(place) + path.wait);
        next.place = place;
        next.channel = entry->channel;
        next.quiet = entry->quiet;
        next.skip = static_cast<int16_t>(place) < least ? lines_to_skip(place, least) : uint8_t{0};
        entry->place =
            place == entry->last ? entry->first : static_cast<uint16_t>(place + entry->step);
        path.at = entry->next;
        asm volatile(
            "" ::
                : "memory"); // the turn before its number: the slot handler may look at any time
        path.prepared = static_cast<uint8_t>(path.prepared + kTurn);
    }

    YOKEDOCK_RARE uint8_t lines_to_skip(uint16_t place, int16_t least) const {
        uint8_t skip = 0;
        while (static_cast<int16_t>(place) < least) {
            place = static_cast<uint16_t>(place + path.line_ticks);
            ++skip;
        }
        return skip;
    }

    YOKEDOCK_RARE void count_late() {
        if (late_ != 0xFFFF) {
            late_ = static_cast<uint16_t>(late_ + 1);
        }
    }

    volatile uint16_t late_ = 0;
    uint16_t spacing_ = 0; ///< of two triggers at least
    Entry entry_[wire::kMaxSchedule] = {};
};

/// Ticks between two triggers at least. other_work: so much else is to be done in each line (line
/// edges, a picture) that only every other one can be sampled.
constexpr uint16_t trigger_spacing(uint16_t conversion_ticks, uint16_t line_ticks,
                                   bool other_work) {
    return static_cast<uint16_t>(conversion_ticks + kResultLatencyTicks +
                                 (other_work ? line_ticks : 0));
}

/// Ticks from the trigger to the held sample: two converter clocks (ATmega2560 data sheet, ADC,
/// "Prescaling and conversion timing"). Silicon adds up to three CPU cycles of synchronisation:
/// first-hardware checklist.
constexpr uint16_t aperture_ticks(uint8_t prescale_log2) {
    return static_cast<uint16_t>(2u << prescale_log2);
}

/// Ticks from the trigger to the result: 13.5 converter clocks (same table, auto-triggered).
constexpr uint16_t conversion_ticks(uint8_t prescale_log2) {
    return static_cast<uint16_t>((27u << prescale_log2) / 2);
}

} // namespace firmware
} // namespace yokedock
