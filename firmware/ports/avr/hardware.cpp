// SPDX-License-Identifier: MIT
#include "firmware/ports/avr/hardware.hpp"
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/sampling.hpp"
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/startup.hpp"
#include "firmware/ports/avr/video.hpp"
#include "shared/sync/standards.hpp"

namespace yokedock {
namespace firmware {

namespace {
/// Until the host asks for another: the first standard of the table.
constexpr sync::PlanResult kFirstPlan = sync::make_plan(sync::kStandards[0].settings, F_CPU);
static_assert(kFirstPlan.ok, "the default standard must be one the device makes");
} // namespace

void AvrHardware::begin() {
    PORTD |= kStopPin | kOverCurrentPin; // pull-ups
    DDRL |= kStepVerticalPin | kStepHorizontalPin;
    firmware::rearm_protection();
    DDRE |= kWindowPin;
    DDRH |= kPatternPin;
    firmware::pool.reset();
    make_slot_plan(kFirstPlan.achieved, plans_[0]);
    set_port_bytes(plans_[0]);
    reset_counters();
    start_serial();
    start_slots(&plans_[0]); // last: the slots run from here on, and wait for nobody
}

void AvrHardware::poll() {
    if (capture_ == kWaiting && !change_pending()) {
        begin_capture();
    }
    record_field();
    recover_sampling();
    const auto settle = [](EdgeCounter& counter) {
        if (!counter.has_long()) {
            return;
        }
        EdgeCounter::Long taken{};
        {
            InterruptLock lock;
            taken = counter.take_long();
        }
        counter.settle(taken);
    };
    settle(line_counter);
    settle(field_counter);
}

void AvrHardware::record_field() {
    const volatile uint8_t& number = sequencer.path.note.number;
    if (number == field_number_) {
        return;
    }
    // No lock: it would hold up the slot handler where it has most to do. A note stands for a
    // field, so that one copied while its number stayed is whole.
    SlotSequencer::FieldNote note;
    uint32_t denominator;
    uint8_t before;
    do {
        before = number;
        asm volatile("" ::: "memory");
        note = sequencer.path.note;
        denominator = sequencer.path.denominator;
        asm volatile("" ::: "memory");
    } while (before != number);
    const uint8_t begun = static_cast<uint8_t>(note.number - field_number_);
    fields_ += begun;
    field_number_ = note.number;
    if (capture_ == kRunning) {
        if (begun > 1) {
            firmware::pool.lose_field_starts(static_cast<uint8_t>(begun - 1));
        }
        firmware::pool.push_field_start(note.time, SlotSequencer::accumulator(note, denominator));
    }
}

uint32_t AvrHardware::now() const {
    return tick_now();
}

uint32_t AvrHardware::stored_serial() const {
    uint32_t stored = 0;
    for (uint8_t i = 0; i < 4; ++i) {
        stored |= static_cast<uint32_t>(eeprom_read(i)) << (8 * i);
    }
    return stored == 0xFFFFFFFFu ? 0 : stored; // erased: no number given yet
}

uint8_t AvrHardware::eeprom_read(uint16_t address) const {
    while (!eeprom_ready()) { // data sheet: no reading while a byte is written
    }
    EEAR = address;
    EECR |= 1 << EERE;
    return EEDR;
}

void AvrHardware::eeprom_write(uint16_t address, uint8_t value) {
    EEAR = address;
    EEDR = value;
    InterruptLock lock; // the second bit within four cycles of the first (data sheet, EECR)
    EECR = 1 << EEMPE;
    EECR |= 1 << EEPE;
}

wire::ResetCause AvrHardware::reset_cause() const {
    const uint8_t flags = saved_reset_flags();
    if ((flags & (1 << WDRF)) != 0) {
        return wire::ResetCause::watchdog_reset;
    }
    if ((flags & (1 << PORF)) != 0) {
        return wire::ResetCause::power; // brown-out and reset pin may show as well then
    }
    if ((flags & (1 << BORF)) != 0) {
        return wire::ResetCause::brown_out;
    }
    return (flags & (1 << EXTRF)) != 0 ? wire::ResetCause::external : wire::ResetCause::power;
}

void AvrHardware::set_sync(const wire::SyncAchieved& achieved) {
    const SlotPlan* in_use;
    bool off;
    {
        InterruptLock lock;
        sequencer.request_plan(nullptr); // take back what has not come into force
        in_use = &sequencer.plan();
        off = sequencer.output() == 0 && sequencer.requested_output() == 0;
    }
    newest_ = in_use == &plans_[0] ? 1 : 0;
    make_slot_plan(achieved, plans_[newest_]);
    set_port_bytes(plans_[newest_]);
    {
        InterruptLock lock;
        sequencer.request_plan(&plans_[newest_], off);
        slot.longest = 0;
    }
    if (off) { // nobody else moves these pins while no sync goes out
        InterruptLock lock;
        set_idle_levels(plans_[newest_]);
    }
    const uint16_t line = line_ticks(); // divisions: not while interrupts are off
    {
        InterruptLock lock;
        sampler.set_line(line);
    }
    sampler.fit_schedule();
    set_video_pattern(pattern_, achieved);
    reset_counters();
}

void AvrHardware::set_output(bool on) {
    InterruptLock lock;
    sequencer.request_output(on);
}

bool AvrHardware::output() const {
    return sequencer.requested_output() != 0;
}

bool AvrHardware::change_pending() const {
    InterruptLock lock;
    return sequencer.change_pending();
}

void AvrHardware::set_video(wire::VideoPattern pattern) {
    pattern_ = pattern;
    set_video_pattern(pattern, sync_plan());
}

void AvrHardware::reset_counters() {
    const wire::SyncAchieved& plan = sync_plan();
    Interval nominal;
    const auto set = [&](uint32_t half_lines) {
        uint32_t fraction = 0;
        nominal.whole = sync::slot_ticks(plan, fraction, half_lines);
        nominal.numerator = fraction;
        nominal.denominator = plan.half_line_denominator;
    };
    set(2);
    {
        InterruptLock lock;
        line_counter.reset(nominal);
    }
    set(plan.half_lines);
    InterruptLock lock;
    field_counter.reset(nominal);
}

void AvrHardware::start_capture(const wire::CaptureSettings& settings) {
    settings_ = settings;
    capture_ = kWaiting;
    if (change_pending() && firmware::guard.stage() != Guard::Stage::kOff) {
        sample_for_guard();
    }
    poll();
}

bool AvrHardware::other_work() const {
    return settings_.line_edge_mode != static_cast<uint8_t>(wire::EdgeMode::kOff) ||
           pattern_ != wire::VideoPattern::kBlack;
}

/// While a capture waits for its sync the guard goes on looking, by the same schedule. The plan in
/// force and the one to come share it: places stay inside the shorter line.
void AvrHardware::sample_for_guard() {
    wire::CaptureSettings quiet = settings_;
    for (uint8_t i = 0; i < quiet.entries; ++i) {
        quiet.schedule[i].channel |= wire::kScheduleQuiet;
    }
    const uint16_t now = static_cast<uint16_t>(2 * sequencer.plan().achieved.half_line_ticks);
    start_sampling(quiet, now < line_ticks() ? now : line_ticks(), other_work());
}

void AvrHardware::begin_capture() {
    if (sampler.enabled() != 0) {
        stop_sampling(); // that of sample_for_guard()
    }
    reset_counters();
    capture_ = kRunning;
    start_sampling(settings_, line_ticks(), other_work());
    start_edges(settings_.line_edge_mode, settings_.field_edge_mode);
}

void AvrHardware::stop_capture() {
    record_field();
    stop_edges();
    stop_sampling();
    capture_ = kIdle;
    firmware::pool.keep_newest(false);
    firmware::pool.seal_open();
}

void AvrHardware::start_watch(const wire::CaptureSettings& settings, bool keep) {
    settings_ = settings;
    capture_ = keep ? kRunning : kWatching; // field starts are kept as well
    firmware::pool.keep_newest(keep);
    const uint16_t now = static_cast<uint16_t>(2 * sequencer.plan().achieved.half_line_ticks);
    start_sampling(settings_, now < line_ticks() ? now : line_ticks(), other_work());
    start_edges(0, 0);
}

void AvrHardware::set_relays(uint8_t relays) {
    if ((YOKEDOCK_RELAY_PORT & kRelayMask) == relays) {
        return; // handlers only open
    }
    InterruptLock lock;
    // A handler may have opened the supply since these were worked out.
    constexpr uint8_t kSeen = (1 << kOverCurrentSeenBit) | (1 << kStopSeenBit);
    if (firmware::guard.cause() != wire::StopCause::none || (GPIOR0 & kSeen) != 0) {
        relays = static_cast<uint8_t>(relays & ~(kRelaySupply | kRelayBypass));
    }
    YOKEDOCK_RELAY_PORT = static_cast<uint8_t>((YOKEDOCK_RELAY_PORT & ~kRelayMask) | relays);
}

uint32_t AvrHardware::retrace_edges(bool line) {
    const bool counted = line ? TIMSK4 != 0 : TIMSK5 != 0;
    if (counted) {
        InterruptLock lock;
        return line ? line_counter.edges() : field_counter.edges();
    }
    // Nobody takes the flag: it tells whether there was any edge.
    if (line && (TIFR4 & (1 << ICF4)) != 0) {
        TIFR4 = 1 << ICF4;
        ++edges_seen_[1];
    } else if (!line && (TIFR5 & (1 << ICF5)) != 0) {
        TIFR5 = 1 << ICF5;
        ++edges_seen_[0];
    }
    return edges_seen_[line ? 1 : 0];
}

void AvrHardware::read_counters(wire::StatusAnswer& status) {
    record_field();
    status.fields = fields_;
    // One lock each: the slot handler must not wait for all of them.
    const auto counter = [](const EdgeCounter& from, uint32_t& edges, uint32_t& missing,
                            uint32_t& extra) {
        {
            InterruptLock lock;
            edges = from.edges();
        }
        missing = from.missing(); // the main loop's own
        InterruptLock lock;
        extra = from.extra();
    };
    counter(line_counter, status.line_edges, status.line_missing, status.line_extra);
    counter(field_counter, status.field_edges, status.field_missing, status.field_extra);
    status.bytes_lost = bytes_lost();
    InterruptLock lock;
    status.samples_late = sampler.late();
    status.longest_slot_cycles =
        slot.longest == 0xFFFF ? 0xFFFF : static_cast<uint16_t>(slot.longest + kEpilogueCycles);
}

} // namespace firmware
} // namespace yokedock
