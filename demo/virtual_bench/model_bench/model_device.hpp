// SPDX-License-Identifier: MIT
// The device of the bench as far as a measurement goes, on a simulated board: sync slots, the
// firmware's own sampler, edge stamps in whole ticks. No chip, no link: what it records is what the
// host would have read. Where both line edges are stamped, the second of a pair is lost when it
// comes within kTurnTicks of the first. Not modelled: results lost or late, other stamps lost, the
// processor's time.
#pragma once
#include "demo/virtual_bench/board/board.hpp"
#include "demo/virtual_bench/model_bench/slot_clock.hpp"
#include "host/capture/capture_run.hpp"
#include <deque>
#include <memory>

namespace yokedock::firmware {
class Sampler;
}

namespace yokedock::sim {

constexpr std::uint32_t kModelClockHz = 16000000;

/// From an edge until the capture input looks for one of the other direction: what the firmware
/// image takes (127 ticks lose nearly none, 126 all; measured on the simulated chip). Some it takes
/// longer for, up to 150 ticks: not modelled.
constexpr std::int64_t kTurnTicks = 127;

class ModelDevice {
  public:
    /// plan: one that sync::make_plan returned for kModelClockHz. Sync is off.
    ModelDevice(const BoardParameters& p, const std::vector<FaultUse>& live,
                const wire::SyncAchieved& plan);
    ~ModelDevice();
    ModelDevice(const ModelDevice&) = delete;
    ModelDevice& operator=(const ModelDevice&) = delete;

    /// From the next field on.
    void set_output(bool on) { next_output_ = on; }
    void run(double seconds);
    /// Runs the capture for its time.
    [[nodiscard]] capture::RawCapture take(const capture::CapturePhase& phase);
    /// Time now, whole ticks since the start.
    [[nodiscard]] std::int64_t now() const { return now_; }
    [[nodiscard]] Board& board() { return board_; }

  private:
    struct Due {
        std::int64_t at; ///< the converter holds its input
        std::int64_t trigger;
        std::uint8_t channel;
    };
    void run_until(std::int64_t ticks);
    void run_board(std::int64_t ticks);
    void begin_slot();
    void plan_sample();
    [[nodiscard]] std::int64_t next_event() const;
    void stamp(const RetraceEdge& edge);
    [[nodiscard]] bool turned_to(std::int64_t ticks, bool rising);

    Board board_;
    wire::SyncAchieved plan_;
    SlotClock clock_;
    std::unique_ptr<firmware::Sampler> sampler_;
    Slot slot_;            ///< the present one
    Slot following_;       ///< begins at its end
    std::int64_t now_ = 0; ///< the board stands here
    std::int64_t pulse_end_;
    bool output_ = false;
    bool next_output_ = false;
    bool tip_ = false;
    bool looks_for_rise_ = true; ///< the line input, both edges stamped
    std::int64_t turned_ticks_ = 0;
    std::deque<Due> due_;
    capture::RawCapture* capture_ = nullptr; ///< being taken
};

} // namespace yokedock::sim
