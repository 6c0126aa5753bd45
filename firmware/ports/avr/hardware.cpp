// SPDX-License-Identifier: MIT
#include "firmware/ports/avr/hardware.hpp"
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/sampling.hpp"
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/startup.hpp"
#include "firmware/ports/avr/video.hpp"
#include "shared/sync/standards.hpp"
#include <avr/eeprom.h>

namespace yokedock {
namespace firmware {

namespace {
/// Until the host asks for another: the first standard of the table.
constexpr sync::PlanResult kFirstPlan = sync::make_plan(sync::kStandards[0].settings, F_CPU);
static_assert(kFirstPlan.ok, "the default standard must be one the device makes");
} // namespace

void AvrHardware::begin() {
    PORTC |= kStopPin; // pull-up
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
    SlotSequencer::FieldNote note;
    uint32_t denominator;
    {
        InterruptLock lock;
        if (sequencer.path.note.number == field_number_) {
            return;
        }
        note = sequencer.path.note;
        denominator = sequencer.path.denominator;
    }
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
    InterruptLock lock;
    return tick_from_low(TCNT4);
}

uint32_t AvrHardware::bench_serial() const {
    const uint32_t stored = eeprom_read_dword(reinterpret_cast<const uint32_t*>(0));
    return stored == 0xFFFFFFFFu ? 0 : stored; // erased: no number given yet
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
        if (off) {
            set_idle_levels(plans_[newest_]);
        }
        slot.longest = 0;
    }
    {
        InterruptLock lock;
        sampler.set_line(line_ticks());
    }
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
    poll();
}

void AvrHardware::begin_capture() {
    reset_counters();
    capture_ = kRunning;
    const bool line_edges = settings_.line_edge_mode != static_cast<uint8_t>(wire::EdgeMode::kOff);
    start_sampling(settings_, line_ticks(), line_edges || pattern_ != wire::VideoPattern::kBlack);
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

void AvrHardware::set_relays(uint8_t relays) {
    InterruptLock lock;
    // The conversion handler may have opened the supply since these were worked out.
    if (firmware::guard.cause() != wire::StopCause::none) {
        relays = static_cast<uint8_t>(relays & ~(kRelaySupply | kRelayBypass));
    }
    YOKEDOCK_RELAY_PORT = static_cast<uint8_t>((YOKEDOCK_RELAY_PORT & ~kRelayMask) | relays);
}

void AvrHardware::start_watch(bool keep) {
    // Every channel but the reference, a line each; places wander, so that load currents show their
    // swing.
    wire::CaptureSettings watch;
    watch.adc_prescale_log2 = kOneLinePrescale;
    watch.entries = wire::kGuardChannels - 1;
    const uint16_t line = line_ticks();
    const uint16_t step = static_cast<uint16_t>(line / 16);
    for (uint8_t i = 0; i < watch.entries; ++i) {
        watch.schedule[i].channel = static_cast<uint8_t>(i | (keep ? 0 : wire::kScheduleQuiet));
        watch.schedule[i].first_place = step;
        watch.schedule[i].step = step;
        watch.schedule[i].places = 8;
    }
    firmware::pool.keep_newest(keep);
    start_capture(watch);
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
