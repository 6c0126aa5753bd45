// SPDX-License-Identifier: MIT
// Random requests, noise on the line, inputs and readings against the firmware image in the chip:
// no relay and no drive is ever on that must not be, and nothing stays on when nobody asks.
#include "tests/system/guarded_rig.hpp"
#include <iostream>
#include <random>

using namespace yokedock;
using namespace yokedock::test;
using Kind = wire::MessageKind;

namespace {

struct Walk {
    GuardedRig r;
    std::mt19937 engine{1};
    int live = 0;
    int steps = 0;
    int tripped = 0;
    wire::BenchState state = wire::BenchState::idle;

    std::uint32_t random(std::uint32_t below) {
        return static_cast<std::uint32_t>(engine()) % below;
    }

    /// Tells and counts the state on the way. The answer to what was asked before may still come.
    void look() {
        const auto told = r.rig.ask<wire::requests::power>();
        state = static_cast<wire::BenchState>(told.state);
        live += state == wire::BenchState::live ? 1 : 0;
        tripped += state == wire::BenchState::tripped ? 1 : 0;
        steps += r.drive ? 1 : 0;
        // A relay may have moved since the answer was written, but only to open.
        REQUIRE((r.relays & ~told.relays) == 0);
        if (state == wire::BenchState::idle || state == wire::BenchState::tripped ||
            state == wire::BenchState::checked) {
            REQUIRE_FALSE(r.on());
        }
    }

    void noise() {
        std::uint8_t bytes[40];
        const std::size_t count = 1 + random(40);
        for (std::size_t i = 0; i < count; ++i) {
            bytes[i] = static_cast<std::uint8_t>(random(256));
        }
        r.rig.chip().send_serial(bytes, count);
        const std::uint8_t end = 0;
        r.rig.chip().send_serial(&end, 1);
        r.ms(1);
    }

    void act() {
        switch (random(13)) {
        case 0:
            r.rig.try_ask(Kind::set_guard, GuardedRig::limits());
            break;
        case 1:
        case 2:
        case 3:
        case 4: {
            const auto next = static_cast<std::uint8_t>(static_cast<int>(state) + 1);
            const auto stage = random(10) == 0 ? static_cast<std::uint8_t>(random(6)) : next;
            r.rig.try_ask(Kind::power_on, wire::PowerStage{stage});
            r.ms(20 + random(60));
            break;
        }
        case 5:
            if (random(3) == 0) {
                r.rig.try_ask(Kind::power_off, wire::Empty{});
            }
            break;
        case 6:
            noise();
            break;
        case 7: { // an input, for a moment
            const auto bit = static_cast<std::uint8_t>(random(2));
            if (random(3) == 0) {
                r.rig.chip().set_pin('D', bit, true);
                r.rig.run_for(random(3000));
                r.rig.chip().set_pin('D', bit, false);
            }
            break;
        }
        case 8: // a reading, for a while
            if (random(3) == 0) {
                r.live[random(8)] = static_cast<int>(random(1024));
                r.ms(1 + random(3));
                r.live = {512, 512, 400, 300, 400, 500, 600, 512};
            }
            break;
        case 9:
            r.rig.try_ask(Kind::step_load,
                          wire::StepSettings{static_cast<std::uint8_t>(1 + random(2)), 400000,
                                             60000, static_cast<std::uint16_t>(1 + random(20)),
                                             20});
            r.ms(random(80));
            break;
        case 10: {
            wire::CaptureSettings s;
            s.entries = static_cast<std::uint8_t>(random(9));
            s.line_edge_mode = static_cast<std::uint8_t>(random(4));
            for (std::uint8_t i = 0; i < s.entries; ++i) {
                s.schedule[i] = {static_cast<std::uint8_t>(i < 7 ? i : random(8)), 60, 60,
                                 static_cast<std::uint16_t>(i == 1 || random(2) == 0 ? 10 : 1)};
            }
            r.rig.try_ask(Kind::start_capture, s);
            break;
        }
        case 11:
            r.rig.try_ask(random(2) == 0 ? Kind::stop_capture : Kind::read_calibration,
                          wire::Empty{});
            break;
        default:
            r.ms(random(150));
        }
        look();
    }
};

} // namespace

TEST_CASE("200 random sequences through the chip reach no forbidden state") {
    Walk w;
    w.r.sync(sync::kStandards[0].settings);
    for (int sequence = 0; sequence < 200; ++sequence) {
        w.r.rig.try_ask(Kind::power_off, wire::Empty{});
        w.r.rig.try_ask(Kind::set_guard, GuardedRig::limits());
        w.state = wire::BenchState::idle;
        for (int i = 0; i < 25; ++i) {
            w.act();
        }
        INFO("sequence " << sequence);
        REQUIRE(w.r.broken.empty());
        if (sequence % 10 == 9) { // the host goes away
            w.r.ms(2700);
            REQUIRE(w.r.relays == 0);
            REQUIRE_FALSE(w.r.drive);
        }
    }
    std::cout << "200 sequences, 5000 looks: live " << w.live << ", tripped " << w.tripped
              << ", drive on " << w.steps << "\n";
    // The walk got where it can hurt.
    CHECK(w.live > 200);
    CHECK(w.tripped > 50);
    CHECK(w.steps > 10);
}
