// SPDX-License-Identifier: MIT
// The monitor board as the bench sees it: BoardModel through the front end, in bench time. The
// bench's crystal is off by the front end's clock error; board physics run in true time, and this
// class converts.
#pragma once
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/board_model.hpp"
#include "demo/virtual_bench/board/front_end.hpp"
#include "demo/virtual_bench/board_port.hpp"

namespace yokedock::sim {

class Board : public BoardPort {
  public:
    /// live: faults that come and go, on top of the values.
    explicit Board(const BoardParameters& p, BoardPower power = kDefaultPower,
                   const std::vector<FaultUse>& live = {})
        : model_(p, power, live), front_end_(p) {}

    // BoardPort: bench time.
    void sync_edge(double time_s, bool tip) override { model_.set_sync_tip(true_s(time_s), tip); }
    void set_drive(double time_s, const BenchDrive& drive) override {
        model_.set_drive(true_s(time_s), drive);
    }
    std::optional<PinChange> take_over_current() override;
    [[nodiscard]] std::string closing_words() const override;
    std::optional<RetraceEdge> run_until(double limit_s) override;
    int adc_code(ChannelId channel, double time_s) override;

    /// New component values while running; the front end keeps its own.
    void configure(const BoardParameters& p) { model_.configure(p); }

    [[nodiscard]] double true_s(double bench_s) const {
        return bench_s / (1 + front_end_.clock_error());
    }
    [[nodiscard]] double bench_s(double true_s) const {
        return true_s * (1 + front_end_.clock_error());
    }
    /// The truth, noiseless and without lag, scale or clock error: true time.
    [[nodiscard]] double quantity(ChannelId channel, double true_s) const {
        return model_.quantity(channel, true_s);
    }
    [[nodiscard]] const BoardModel& model() const { return model_; }
    [[nodiscard]] const FrontEnd& front_end() const { return front_end_; }

  private:
    BoardModel model_;
    FrontEnd front_end_;
    double peak_seen_s_ = -1;
};

} // namespace yokedock::sim
