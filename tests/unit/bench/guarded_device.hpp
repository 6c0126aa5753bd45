// SPDX-License-Identifier: MIT
// The firmware's own core as a bench in memory, with a board on its relays: time moves with the
// requests, every channel is sampled each millisecond, and a test bends the board as it likes.
#pragma once
#include "tests/unit/link/fake_device.hpp"
#include <array>
#include <functional>
#include <memory>

namespace yokedock::test {

/// What the board and the bench's inputs show, in raw codes, given which relays are closed.
struct BoardState {
    std::array<std::uint16_t, 8> code{};
    bool field_retrace = false;
    bool line_retrace = false;
    bool stop = false;         ///< button pressed now
    bool over_current = false; ///< comparator
};

/// K1 to K5, bits as on the wire; ms since K1 closed last, 0 while it is open.
using BoardModel = std::function<BoardState(std::uint8_t relays, double ms_on)>;

/// A board of 24 V that draws 0.3 A, ramps and retraces, as long as K1 is closed.
[[nodiscard]] BoardState healthy_board(std::uint8_t relays, double ms_on);

/// For DeviceTransport.
class GuardedDevice {
  public:
    explicit GuardedDevice(BoardModel board = healthy_board);
    ~GuardedDevice();

    /// Bytes from the host in; the frames of the answer out. 4 ms pass.
    std::vector<std::vector<std::uint8_t>> receive(link::Bytes bytes);

    /// Time passes without a request.
    void pass(double ms);

    BoardModel board;
    bool cable = true; ///< false: nothing comes through any more

    [[nodiscard]] std::uint8_t relays() const;
    /// Bits of relays that were ever closed since the start.
    [[nodiscard]] std::uint8_t ever_closed() const { return ever_; }

  private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
    std::uint8_t ever_ = 0;
    double ms_on_ = 0;
};

} // namespace yokedock::test
