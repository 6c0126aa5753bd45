// SPDX-License-Identifier: MIT
// The bench's relays as docs/bench draws them: coils with the stop button in their supply, contacts
// that follow late, and the over-current latch that takes K1's drive away without the program.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include "demo/virtual_bench/board_port.hpp"
#include <array>
#include <cstdint>
#include <deque>
#include <limits>
#include <optional>

namespace yokedock::sim {

/// Which contacts are made. At rest K3 and K4 connect their load to the step drive.
struct Contacts {
    bool k1 = false; ///< supply to the soft-start resistor
    bool k2 = false; ///< gate of the bypass pulled down
    bool k3 = false; ///< vertical load on the board
    bool k4 = false; ///< horizontal load on the board
    bool k5 = false; ///< supply of the step drive
};

class BenchRelays {
  public:
    explicit BenchRelays(const BoardParameters& p) { configure(p); }
    void configure(const BoardParameters& p);

    /// Pins and stop button from time_s on. Contacts follow after operate or release time; a
    /// contact not yet moved when its coil changes back stays where it is. time_s may lie a little
    /// (less than those times) before what advance() has seen.
    void set_drive(double time_s, const BenchDrive& drive);

    /// Supply current over the last step, a straight line between its ends; crossing the threshold
    /// sets the latch a comparator's delay later. Call advance() up to the step's end first.
    void see_current(double from_s, double from_a, double to_s, double to_a);

    /// Moves contacts and latch that are due by time_s. True: a contact moved.
    bool advance(double time_s);
    /// When the next contact moves or the latch changes; infinity: nothing is under way.
    [[nodiscard]] double next_change_s() const { return next_s_; } // asked very often
    [[nodiscard]] const Contacts& contacts() const { return contacts_; }
    [[nodiscard]] bool k1_driven() const; ///< after latch and stop button
    [[nodiscard]] bool over_current() const { return pin_; }

    /// Changes of the over-current pin not yet taken, in time order.
    [[nodiscard]] std::optional<PinChange> take_pin_change();

  private:
    struct Move {
        double time_s;
        bool made;
    };
    static constexpr std::size_t kCount = 5;
    void coils_changed(double time_s);
    void update_latch(double time_s);
    void update_next();
    [[nodiscard]] std::array<bool, kCount> coils() const;
    [[nodiscard]] bool& contact(std::size_t k);

    double next_s_ = std::numeric_limits<double>::infinity();
    double operate_s_ = 0;
    double release_s_ = 0;
    double threshold_a_ = 0;
    double delay_s_ = 0;
    BenchDrive drive_;
    std::array<bool, kCount> energised_{};
    std::array<std::optional<Move>, kCount> moves_{};
    Contacts contacts_;
    bool over_ = false;        ///< current above the threshold, as seen so far
    bool comparator_ = false;  ///< the same, a delay later
    std::deque<Move> delayed_; ///< comparator changes under way
    bool latched_ = false;
    bool pin_ = false;
    std::deque<PinChange> pin_changes_;
};

} // namespace yokedock::sim
