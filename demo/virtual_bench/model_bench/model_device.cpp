// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/model_bench/model_device.hpp"
#pragma GCC diagnostic push
// The firmware is C++14, where counting volatiles is fine; the warning has two names.
#ifdef __clang__
#pragma GCC diagnostic ignored "-Wdeprecated-volatile"
#else
#pragma GCC diagnostic ignored "-Wvolatile"
#endif
#include "firmware/core/sampler.hpp"
#pragma GCC diagnostic pop
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::sim {

namespace {

constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::max();

double seconds(std::int64_t ticks) {
    return static_cast<double>(ticks) / kModelClockHz;
}

/// The first tick that sees a change at time_s; the margin is for the rounding of whole ticks.
std::int64_t first_tick_at(double time_s) {
    return static_cast<std::int64_t>(std::ceil(time_s * kModelClockHz - 1e-4));
}

bool wanted(std::uint8_t mode, bool rising) {
    return (mode & static_cast<std::uint8_t>(rising ? wire::EdgeMode::kRising
                                                    : wire::EdgeMode::kFalling)) != 0;
}

} // namespace

ModelDevice::ModelDevice(const BoardParameters& p, const std::vector<FaultUse>& live,
                         const wire::SyncAchieved& plan)
    : board_(p, BoardPower::kAlwaysOn, live), plan_(plan), clock_(plan),
      sampler_(std::make_unique<firmware::Sampler>()), following_(clock_.next()),
      pulse_end_(kNever) {}

ModelDevice::~ModelDevice() = default;

/// Both line edges: the input sees one direction at a time.
bool ModelDevice::turned_to(std::int64_t ticks, bool rising) {
    if (rising != looks_for_rise_ || ticks < turned_ticks_) {
        return false;
    }
    looks_for_rise_ = !rising;
    turned_ticks_ = ticks + kTurnTicks;
    return true;
}

void ModelDevice::stamp(const RetraceEdge& edge) {
    if (capture_ == nullptr) {
        return;
    }
    const std::uint8_t mode =
        edge.line ? capture_->settings.line_edge_mode : capture_->settings.field_edge_mode;
    const std::int64_t ticks = first_tick_at(edge.time_s);
    if (!wanted(mode, edge.rising) || ticks < capture_->begin_ticks ||
        ticks > capture_->end_ticks) {
        return;
    }
    const bool both = mode == static_cast<std::uint8_t>(wire::EdgeMode::kBoth);
    if (edge.line && both && !turned_to(ticks, edge.rising)) {
        return;
    }
    capture::RawEdges& edges = edge.line ? capture_->line_edges : capture_->field_edges;
    edges.ticks.push_back(ticks);
    edges.rising.push_back(edge.rising);
}

void ModelDevice::run_board(std::int64_t ticks) {
    while (const auto edge = board_.run_until(seconds(ticks))) {
        stamp(*edge);
    }
    now_ = ticks;
}

/// What the device's slot handler does for the present slot. As there, a result is taken before the
/// trigger after it, and its trigger's channel comes with it.
void ModelDevice::plan_sample() {
    using firmware::conversion_ticks;
    const wire::CaptureSettings& settings = capture_->settings;
    const std::uint16_t place =
        sampler_->plan(static_cast<std::uint16_t>(slot_.start_ticks),
                       static_cast<std::uint16_t>(slot_.length_ticks), slot_.starts_line ? 1 : 0);
    if (place == 0) {
        return;
    }
    const std::int64_t at = slot_.start_ticks + place;
    firmware::Trigger trigger{};
    const bool good = sampler_->take(
        static_cast<std::uint16_t>(at + conversion_ticks(settings.adc_prescale_log2)), trigger);
    sampler_->refill();
    if (good && trigger.quiet == 0) {
        due_.push_back({at + capture_->aperture_ticks, at, trigger.channel});
    }
}

void ModelDevice::begin_slot() {
    slot_ = following_;
    following_ = clock_.next();
    if (slot_.starts_field) {
        output_ = next_output_;
        if (capture_ != nullptr) {
            capture_->field_starts.ticks.push_back(slot_.start_ticks);
            capture_->field_starts.accumulator.push_back(slot_.accumulator);
            capture_->field_starts.mid_line.push_back(slot_.mid_line);
        }
    }
    if (output_ != tip_) {
        tip_ = output_; // a solid pulse before may have left it at sync level
        board_.sync_edge(seconds(slot_.start_ticks), tip_);
    }
    pulse_end_ = output_ && slot_.pulse_ticks != 0 ? slot_.start_ticks + slot_.pulse_ticks : kNever;
    if (capture_ != nullptr && capture_->settings.entries != 0) {
        plan_sample();
    }
}

std::int64_t ModelDevice::next_event() const {
    return std::min({following_.start_ticks, pulse_end_, due_.empty() ? kNever : due_.front().at});
}

void ModelDevice::run_until(std::int64_t ticks) {
    for (std::int64_t next = next_event(); next <= ticks; next = next_event()) {
        run_board(next);
        if (!due_.empty() && due_.front().at == next) {
            const Due& due = due_.front();
            if (capture_ != nullptr) {
                const int code =
                    board_.adc_code(static_cast<ChannelId>(due.channel), seconds(due.at));
                capture_->samples.ticks.push_back(due.trigger);
                capture_->samples.code.push_back(static_cast<std::uint16_t>(code));
                capture_->samples.channel.push_back(due.channel);
            }
            due_.pop_front();
        } else if (pulse_end_ == next) {
            pulse_end_ = kNever;
            tip_ = false;
            board_.sync_edge(seconds(next), false);
        } else {
            begin_slot();
        }
    }
    run_board(ticks);
}

void ModelDevice::run(double duration_s) {
    run_until(now_ + std::llround(duration_s * kModelClockHz));
}

capture::RawCapture ModelDevice::take(const capture::CapturePhase& phase) {
    using namespace firmware;
    capture::RawCapture capture;
    capture.purpose = phase.purpose;
    capture.settings = phase.settings;
    capture.plan = plan_;
    capture.sync_on = output_;
    const std::uint8_t prescale = phase.settings.adc_prescale_log2;
    capture.aperture_ticks = aperture_ticks(prescale);
    capture.conversion_ticks = conversion_ticks(prescale);
    capture.begin_ticks = now_;
    capture.end_ticks = now_ + std::llround(phase.seconds * kModelClockHz);
    if (phase.settings.entries != 0) {
        const auto line_ticks = static_cast<std::uint16_t>(2 * plan_.half_line_ticks);
        sampler_ = std::make_unique<Sampler>();
        sampler_->configure(phase.settings, line_ticks, capture.conversion_ticks,
                            trigger_spacing(capture.conversion_ticks, line_ticks,
                                            phase.settings.line_edge_mode != 0));
        sampler_->enable(true);
    }
    looks_for_rise_ = true;
    turned_ticks_ = 0;
    capture_ = &capture;
    run_until(capture.end_ticks);
    capture_ = nullptr;
    due_.clear();
    return capture;
}

} // namespace yokedock::sim
