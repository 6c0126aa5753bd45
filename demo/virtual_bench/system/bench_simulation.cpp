// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/system/bench_simulation.hpp"
#include "demo/virtual_bench/system/sync_polarity.hpp"
#include <algorithm>
#include <cmath>
#include <deque>
#include <iterator>
#include <utility>

namespace yokedock::sim {
namespace {

// How far the board is run ahead of the chip, so that its comparator edges can be handed to the
// chip before their time. Never beyond the next sync edge that the timer has in store, and only a
// little while that edge is still open: the firmware writes the length of a period within it, and a
// late handler does so shortly before its end.
constexpr Cycle kLeadCycles = 512;
constexpr Cycle kOpenLeadCycles = 32;

// The front end's stop loop is closed (low: run) and its over-current comparator quiet; pins as the
// firmware and docs/bench have them.
constexpr char kSafetyPort = 'D';
constexpr std::uint8_t kOverCurrentBit = 0;
constexpr std::uint8_t kStopLoopBit = 1;

constexpr double seconds(Cycle at) {
    return static_cast<double>(at) / kClockHz;
}

/// The first clock edge that sees a change at time_s. The margin is for rounding of times that are
/// whole cycles.
Cycle first_cycle_at(double time_s) {
    return static_cast<Cycle>(std::ceil(time_s * kClockHz - 1e-4));
}

// What the power side is driven by: bits of one port, and two compare outputs.
constexpr char kDrivePort = 'A';
constexpr bool BenchDrive::*kDriveBits[] = {&BenchDrive::k1, &BenchDrive::k2, &BenchDrive::k3,
                                            &BenchDrive::k4, &BenchDrive::k5}; // from bit 0
struct StepOutput {
    Output output;
    bool BenchDrive::*drive;
};
constexpr StepOutput kStepOutputs[] = {{Output::kOc5a, &BenchDrive::step_vertical},
                                       {Output::kOc5b, &BenchDrive::step_horizontal}};

} // namespace

struct BenchSimulation::Impl final : ChipListener {
    explicit Impl(std::unique_ptr<BoardPort> wired_board) : board(std::move(wired_board)) {}

    void output_changed(Output output, Cycle at, bool high) override {
        if (output != Output::kOc1a) { // separate sync and video go to connectors with nothing on
            step_output_changed(at);
            return;
        }
        const bool now_tip = polarity.level_changed(at, high);
        if (now_tip == tip) {
            return;
        }
        tip = now_tip;
        if (at < board_at) {
            ++late_edges;
        }
        board->sync_edge(seconds(std::max(at, board_at)), tip);
    }

    void step_output_changed(Cycle at) {
        const BenchDrive before = drive;
        for (const StepOutput& step : kStepOutputs) {
            drive.*step.drive = chip != nullptr && chip->output(step.output);
        }
        if (!(drive == before)) {
            board->set_drive(seconds(at), drive);
        }
    }

    void port_changed(char port, Cycle at, std::uint8_t driven_high) override {
        if (port != kDrivePort || chip == nullptr) {
            return;
        }
        const BenchDrive before = drive;
        for (std::size_t bit = 0; bit < std::size(kDriveBits); ++bit) {
            drive.*kDriveBits[bit] = (driven_high >> bit & 1) != 0;
        }
        if (!(drive == before)) {
            board->set_drive(seconds(at), drive);
            collect_pin_changes();
        }
    }

    void press_stop(bool pressed) {
        drive.stop_pressed = pressed;
        chip->set_pin(kSafetyPort, kStopLoopBit, pressed);
        board->set_drive(seconds(chip->now()), drive);
        collect_pin_changes();
    }

    void collect_pin_changes() {
        while (const auto change = board->take_over_current()) {
            pin_changes.push_back({first_cycle_at(change->time_s), change->high});
        }
        set_alarm();
    }

    /// When the board has to be run on, or a pin changes before.
    void set_alarm() {
        const Cycle pin_at = pin_changes.empty() ? kNeverCycle : pin_changes.front().at;
        chip->set_alarm(std::min(board_at, pin_at));
    }

    int adc_sample(std::uint8_t channel, Cycle at) override {
        return board->adc_code(static_cast<ChannelId>(channel), seconds(at));
    }

    void serial_byte(std::uint8_t byte, Cycle) override { said.push_back(byte); }

    void alarm(Cycle at) override {
        while (!pin_changes.empty() && pin_changes.front().at <= at) {
            chip->set_pin(kSafetyPort, kOverCurrentBit, pin_changes.front().high);
            pin_changes.pop_front();
        }
        if (at < board_at) {
            set_alarm();
            return;
        }
        const Cycle lead = chip->period_open() ? kOpenLeadCycles : kLeadCycles;
        const Cycle limit = std::min(chip->next_output_event(Output::kOc1a), at + lead);
        while (const auto edge = board->run_until(seconds(limit))) {
            const CaptureInput input = edge->line ? CaptureInput::kIcp4 : CaptureInput::kIcp5;
            chip->capture_edge(input, std::max(first_cycle_at(edge->time_s), at), edge->rising);
        }
        board_at = limit;
        collect_pin_changes();
    }

    struct PinAt {
        Cycle at;
        bool high;
    };

    std::unique_ptr<BoardPort> board;
    std::unique_ptr<Chip> chip;
    SyncPolarity polarity;
    bool tip = false;
    BenchDrive drive;
    std::deque<PinAt> pin_changes; ///< of the over-current pin, not yet due
    Cycle board_at = 0;            ///< the board stands here; never behind the chip
    std::uint64_t late_edges = 0;
    std::vector<std::uint8_t> said; ///< by the chip, not yet taken
};

BenchSimulation::BenchSimulation(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
BenchSimulation::~BenchSimulation() = default;

Result<std::unique_ptr<BenchSimulation>> BenchSimulation::create(const std::string& firmware_elf,
                                                                 std::unique_ptr<BoardPort> board) {
    auto impl = std::make_unique<Impl>(std::move(board));
    auto chip = Chip::load(firmware_elf, *impl);
    if (!chip) {
        return chip.error();
    }
    impl->chip = std::move(chip).value();
    impl->chip->set_pin(kSafetyPort, kStopLoopBit, false);
    impl->chip->set_pin(kSafetyPort, kOverCurrentBit, false);
    impl->chip->set_alarm(0);
    return std::unique_ptr<BenchSimulation>(new BenchSimulation(std::move(impl)));
}

Status BenchSimulation::run_cycles(Cycle cycles) {
    return impl_->chip->run_until(impl_->chip->now() + cycles);
}

Status BenchSimulation::run_seconds(double duration_s) {
    return run_cycles(static_cast<Cycle>(std::llround(duration_s * kClockHz)));
}

Status BenchSimulation::run_until_output(double limit_seconds) {
    constexpr Cycle kStepCycles = 1600; // ten bytes on the line
    const Cycle end = impl_->chip->now() + static_cast<Cycle>(limit_seconds * kClockHz);
    while (impl_->said.empty() && impl_->chip->now() < end) {
        const Status status = run_cycles(std::min(kStepCycles, end - impl_->chip->now()));
        if (!status) {
            return status;
        }
    }
    return Done{};
}

void BenchSimulation::send(const std::uint8_t* bytes, std::size_t count) {
    impl_->chip->send_serial(bytes, count);
}

std::vector<std::uint8_t> BenchSimulation::take_output() {
    return std::exchange(impl_->said, {});
}

void BenchSimulation::press_stop(bool pressed) {
    impl_->press_stop(pressed);
}
double BenchSimulation::time_s() const {
    return seconds(impl_->chip->now());
}
Chip& BenchSimulation::chip() {
    return *impl_->chip;
}
BoardPort& BenchSimulation::board() {
    return *impl_->board;
}
std::uint64_t BenchSimulation::late_sync_edges() const {
    return impl_->late_edges;
}

} // namespace yokedock::sim
