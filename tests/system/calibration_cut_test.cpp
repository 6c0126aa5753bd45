// SPDX-License-Identifier: MIT
// The calibration in the real firmware image's EEPROM: the supply is cut at any moment of a write,
// bits flip, and another chip boots from what is left.
#include "shared/sync/standards.hpp"
#include "tests/system/firmware_rig.hpp"
#include <set>

using namespace yokedock;
using namespace yokedock::test;
using wire::requests::read_calibration;
using wire::requests::write_calibration;

namespace {

using Eeprom = std::vector<std::uint8_t>;

// ATmega2560 data sheet, section 8.6: EEPROM registers, in data space.
constexpr std::uint16_t kEecr = 0x3F, kEearl = 0x41, kEearh = 0x42;
constexpr std::uint8_t kEepe = 0x02;

/// Different n: nearly every byte differs.
wire::Calibration example(std::uint32_t n) {
    wire::Calibration c;
    c.serial = 7001;
    c.date = 1700000000 + 70000001 * n;
    c.channels = 0xFF;
    c.parts = wire::kCalibratedClock | wire::kCalibratedReference;
    for (std::uint32_t i = 0; i < wire::kGuardChannels; ++i) {
        c.gain[i] = 900000 + 71111 * n + i;
        c.gain_u[i] = 500 + 90001 * n + i;
        c.zero[i] = 40 * i + 80007 * n;
        c.zero_u[i] = 77 + 70009 * n + i;
    }
    c.clock_ppb = 12345 + 66677 * n;
    c.clock_u_ppb = 600 + 66677 * n;
    c.adc_reference_uv = 4900000 + 66601 * n;
    c.adc_reference_u_uv = 900 + 66633 * n;
    return c;
}

std::vector<std::uint8_t> bytes_of(const wire::Calibration& c) {
    std::vector<std::uint8_t> bytes(wire::kMaxPayloadBytes);
    bytes.resize(wire::write_fields(c, bytes.data(), bytes.size()));
    return bytes;
}

void wait_until_stored(FirmwareRig& rig) {
    for (int i = 0; i < 200; ++i) {
        rig.run_for(16000 * 20);
        if (rig.ask<wire::requests::store_state>().left == 0) {
            return;
        }
    }
    FAIL("not stored within 4 s");
}

Eeprom stored(const std::vector<wire::Calibration>& calibrations) {
    FirmwareRig rig;
    for (const wire::Calibration& c : calibrations) {
        rig.ask<write_calibration>(c);
        wait_until_stored(rig);
    }
    return rig.chip().eeprom();
}

} // namespace

TEST_CASE("a calibration that is stored is there after the next power-on, with its serial number") {
    const wire::Calibration c = example(1);
    FirmwareRig rig(stored({c}));
    const auto answer = rig.ask<read_calibration>();
    CHECK(answer.newest == 1);
    CHECK(answer.copies == 0x21); // the first whole, the second empty
    CHECK(bytes_of(answer.calibration) == bytes_of(c));
    CHECK(rig.ask<wire::requests::identify>().bench_serial == 7001);
}

TEST_CASE("cut at 120 moments of its writing, the old or the new calibration is there, whole") {
    const wire::Calibration old = example(1), fresh = example(3);
    const auto old_bytes = bytes_of(old), new_bytes = bytes_of(fresh);
    for (const bool second : {true, false}) { // into the empty copy, and over an older one
        FirmwareRig rig(stored(second ? std::vector{old} : std::vector{example(2), old}));
        rig.ask<write_calibration>(fresh);
        // Some 110 bytes of 3.3 ms each: 60 cuts, 9 ms and a bit apart so that they walk through
        // the writing of a byte, reach beyond the end.
        int kept_old = 0, has_new = 0;
        std::set<std::size_t> cut_bytes;
        for (int cut = 0; cut < 60; ++cut) {
            rig.run_for(16000 * 9 + 3777);
            Eeprom left = rig.chip().eeprom();
            if ((rig.chip().data_byte(kEecr) & kEepe) != 0) {
                // Cut within a byte, what it holds is not known: erased, half programmed, done.
                const std::size_t at =
                    rig.chip().data_byte(kEearl) + 256u * rig.chip().data_byte(kEearh);
                cut_bytes.insert(at);
                left[at] = cut % 3 == 0 ? 0xFF : cut % 3 == 1 ? left[at] | 0x5A : left[at];
            }
            FirmwareRig next(left);
            const auto answer = next.ask<read_calibration>();
            CAPTURE(second, cut);
            REQUIRE(answer.newest != 0);
            const auto found = bytes_of(answer.calibration);
            REQUIRE((found == old_bytes || found == new_bytes));
            kept_old += found == old_bytes ? 1 : 0;
            has_new += found == new_bytes ? 1 : 0;
            REQUIRE((has_new == 0 || found == new_bytes)); // once there it stays
        }
        CHECK(kept_old > 20); // the cuts did fall into the writing
        CHECK(has_new > 2);
        CHECK(cut_bytes.size() > 20);
    }
}

TEST_CASE("a flipped bit in either copy is noticed, and the other copy counts") {
    const wire::Calibration first = example(1), second = example(2);
    const Eeprom both = stored({first, second});
    FirmwareRig whole(both);
    REQUIRE(whole.ask<read_calibration>().copies == 0x03);
    Eeprom bent = both;
    for (int n = 0; n < 24; ++n) {
        for (const std::size_t copy : {std::size_t{64}, std::size_t{320}}) {
            bent = both;
            const std::size_t at = copy + 1 + static_cast<std::size_t>(n) * 7;
            bent[at] = static_cast<std::uint8_t>(bent[at] ^ (1u << (n % 8)));
            FirmwareRig rig(bent);
            const auto answer = rig.ask<read_calibration>();
            CAPTURE(n, copy);
            CHECK(answer.copies == (copy == 64 ? 0x02 : 0x01));
            CHECK(bytes_of(answer.calibration) == bytes_of(copy == 64 ? second : first));
        }
    }
}
