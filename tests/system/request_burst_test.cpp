// SPDX-License-Identifier: MIT
// Requests that come faster than their answers can go out: a host that died and came back, or one
// that repeats itself. The device answers each, and is there afterwards.
#include "tests/system/firmware_rig.hpp"

using namespace yokedock;
using namespace yokedock::test;

TEST_CASE("a burst of requests with long answers is answered to the last") {
    FirmwareRig rig;
    std::size_t answers = 0;
    rig.on_frame = [&answers](const AnswerFrame& frame) {
        CHECK(frame.kind == wire::answer_to(wire::MessageKind::identify));
        ++answers;
    };
    // 8 bytes in, some 35 out: after the third both buffers are full and the rest waits in the
    // receive ring of 256 bytes.
    constexpr std::size_t kRequests = 20;
    for (std::size_t i = 0; i < kRequests; ++i) {
        rig.send(wire::MessageKind::identify, wire::IdentifyRequest{});
    }
    rig.run_for(1'600'000); // 0.1 s; 20 answers take 7 ms at 1 Mbaud
    CHECK(answers == kRequests);
    rig.on_frame = nullptr;
    (void)rig.ask<wire::requests::status>();
}
