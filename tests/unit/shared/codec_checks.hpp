// SPDX-License-Identifier: MIT
// Checks of shared/wire that run on the host and, the same text, on the device, where int has 16
// bits. Freestanding.
//
// Golden frames: made by an independent program (table of field sizes typed again, bitwise CRC,
// textbook COBS). Field k, from 0, holds 0x11223344 + k * 0x01010101 cut to its width; every field
// with k % 5 == 3 holds 0.
#pragma once
#include "shared/wire/frame.hpp"

namespace yokedock {
namespace test {

// X(message type, frame kind, payload bytes, encoded frame with number 0x5A)
// clang-format off
#define YOKEDOCK_GOLDEN(X) \
    X(IdentifyRequest, 0x01, 2, "07015a443343ac00") /* identify request */ \
    X(IdentifyAnswer, 0x81, 27, "07815a443345460b48372615493827164a4b0e4d3c2b1a4e3d2c1b4f3e50e14b00") /* identify answer */ \
    X(Empty, 0x02, 0, "05025ad28000") /* status request */ \
    X(StatusAnswer, 0x82, 43, "06825a4445460101011148372615493827164a3928174b3a29180101010d4d3c2b1a4e3d2c1b4f3e503f01055241e51600") /* status answer */ \
    X(SyncSettings, 0x03, 20, "0d035a443322114534231246350107483749384a4b044dcebc00") /* set_sync request */ \
    X(SyncAchieved, 0x83, 22, "0d835a443345342312463524130108483749384a394b054d4ea24500") /* set_sync answer */ \
    X(SyncOutput, 0x04, 1, "06045a4468f900") /* sync_output */ \
    X(VideoSettings, 0x05, 1, "06055a4458ce00") /* set_video */ \
    X(CaptureSettings, 0x06, 88, "06065a444546084849384a394b3a084d3c4e3d4f3e50010852415342545544010857465859485a4901085c5d4c5e4d5f4e086150625163526401086655675668695801086b5a6c6d5c6e5d01087071607261736209756476657766c7a100") /* start_capture request */ \
    X(CaptureStarted, 0x86, 8, "0d865a4433221145344635dcf700") /* start_capture answer */ \
    X(CaptureStopped, 0x87, 6, "0b875a443345342312893600") /* stop_capture answer */ \
    X(ReadBlocksRequest, 0x08, 5, "0a085a44334546356f8c00") /* read_blocks request */ \
    X(ReadBlocksAnswer, 0x88, 12, "08885a443345463501084849382716db3b00") /* read_blocks answer */ \
    X(PowerStage, 0x0A, 1, "060a5a4469e200") /* power_on request */ \
    X(PowerAnswer, 0x89, 13, "06895a4445460c4837493827164a4b3a25b600") /* power answer */ \
    X(GuardLimits, 0x0C, 69, "090c5a4433453446350109483749384a394b3a01094d3c4e3d4f3e503f0109524153425443554401095746584759485a4901095c4b5d4c5e4d5f4e01096150625163526453056667122100") /* set_guard request */ \
    X(StepSettings, 0x0E, 13, "0c0e5a444534231246352413010548370a3d00") /* step_load request */ \
    X(StepStarted, 0x8E, 4, "098e5a44332211035300") /* step_load answer */ \
    X(Calibration, 0x0F, 162, "0c0f5a4433221145342312461148372615493827164a3928174b3a2918010101114d3c2b1a4e3d2c1b4f3e2d1c503f2e1d010101115241301f534231205443322155443322010101115746352458473625594837265a493827010101115c4b3a295d4c3b2a5e4d3c2b5f4e3d2c0101011161503f2e6251402f635241306453423101010111665544336756453468574635695847360101010f6b5a49386c5b4a396d5c4b3aa1a700") /* write_calibration request */ \
    X(StoreAnswer, 0x8F, 2, "078f5a443321d300") /* write_calibration and store_state answer */ \
    X(CalibrationAnswer, 0x90, 168, "09905a4445463524130101010b48372615494a4b3a2918010101114d3c2b1a4e3d2c1b4f3e2d1c503f2e1d010101115241301f534231205443322155443322010101115746352458473625594837265a493827010101115c4b3a295d4c3b2a5e4d3c2b5f4e3d2c0101011161503f2e6251402f63524130645342310101011166554433675645346857463569584736010101116b5a49386c5b4a396d5c4b3a6e5d4c3b01010107705f4e3d3bbe00") /* read_calibration answer */ \
    X(RefusedAnswer, 0x7F, 6, "0b7f5a444546352413879000") /* refused */ \
    X(BlockHead, 0x40, 9, "07405a4433454607483726150ca900") /* block head */ \
    X(FieldStart, 0x40, 8, "0d405a443322114534231217b200") /* field start words */
// clang-format on

/// Gives every field of a message its golden value.
class GoldenVisitor {
  public:
    void field(const char*, const char*, uint8_t& v) { v = static_cast<uint8_t>(next()); }
    void field(const char*, const char*, uint16_t& v) { v = static_cast<uint16_t>(next()); }
    void field(const char*, const char*, uint32_t& v) { v = next(); }

  private:
    uint32_t next() {
        const uint8_t k = k_++;
        return k % 5 == 3 ? 0 : 0x11223344u + k * 0x01010101u;
    }
    uint8_t k_ = 0;
};

inline uint8_t hex_digit(char c) {
    return static_cast<uint8_t>(c <= '9' ? c - '0' : c - 'a' + 10);
}

/// Report is called as check(ok, line) and keeps the lines that failed.
template <class Report, class Message>
void check_golden(Report& report, uint8_t kind, size_t size, const char* hex, int line) {
    Message message{};
    GoldenVisitor golden;
    message.visit(golden);
    report.check(wire::wire_size<Message>() == size, line);

    uint8_t payload[wire::kMaxPayloadBytes];
    uint8_t scratch[wire::kMaxFrameBytes];
    uint8_t out[wire::kMaxEncodedBytes];
    report.check(wire::write_fields(message, payload, sizeof(payload)) == size, line);
    report.check(size == 0 || wire::write_fields(message, payload, size - 1) == 0, line);
    const size_t bytes =
        wire::encode_frame(static_cast<wire::MessageKind>(kind), 0x5A, payload, size, scratch, out);
    bool same = true;
    size_t n = 0;
    for (; hex[2 * n] != 0; ++n) {
        const uint8_t want =
            static_cast<uint8_t>(hex_digit(hex[2 * n]) * 16 + hex_digit(hex[2 * n + 1]));
        same = same && n < bytes && out[n] == want;
    }
    report.check(same && n == bytes, line);

    // And back: the frame, then its fields, which written again are the same bytes.
    wire::FrameDecoder<> decoder;
    wire::DecodeEvent event = wire::DecodeEvent::kNothing;
    for (size_t i = 0; i < bytes; ++i) {
        event = decoder.push(out[i]);
    }
    report.check(event == wire::DecodeEvent::kFrame, line);
    const wire::Frame& frame = decoder.frame();
    report.check(static_cast<uint8_t>(frame.kind) == kind && frame.number == 0x5A &&
                     frame.size == size,
                 line);
    Message read{};
    report.check(wire::read_fields(read, frame.payload, frame.size), line);
    report.check(!wire::read_fields(read, frame.payload, frame.size + 1) || size == 0, line);
    uint8_t again[wire::kMaxPayloadBytes];
    wire::write_fields(read, again, sizeof(again));
    bool equal = true;
    for (size_t i = 0; i < size; ++i) {
        equal = equal && again[i] == payload[i];
    }
    report.check(equal, line);
}

/// COBS of a run of `ones` bytes 0x01, then a zero when zero_after: lengths of the code blocks as
/// the paper has them.
template <class Report>
void check_cobs_run(Report& report, size_t ones, bool zero_after, int line) {
    static uint8_t in[260];
    static uint8_t out[264];
    for (size_t i = 0; i < ones; ++i) {
        in[i] = 1;
    }
    in[ones] = 0;
    const size_t size = ones + (zero_after ? 1 : 0);
    const size_t bytes = wire::cobs_encode(in, size, out);
    // 254 bytes fill a block; a zero after them costs a block of its own.
    const size_t blocks = ones / 254 + (ones % 254 != 0 || zero_after || ones == 0 ? 1 : 0);
    const size_t expected = ones + blocks + (zero_after ? 1 : 0);
    report.check(bytes == expected, line);
    report.check(bytes <= wire::cobs_bound(size), line);
    bool zero = false;
    for (size_t i = 0; i < bytes; ++i) {
        zero = zero || out[i] == 0;
    }
    report.check(!zero, line);
    report.check(out[0] == (ones >= 254 ? 0xFF : ones + 1), line);
    const wire::CobsDecoded decoded = wire::cobs_decode_in_place(out, bytes);
    bool same = decoded.ok && decoded.size == size;
    for (size_t i = 0; i < size; ++i) {
        same = same && out[i] == in[i];
    }
    report.check(same, line);
}

template <class Report> void check_resync(Report& report) {
    uint8_t payload[3] = {1, 0, 3};
    uint8_t scratch[wire::kMaxFrameBytes];
    uint8_t out[wire::kMaxEncodedBytes];
    const size_t bytes = wire::encode_frame(wire::MessageKind::echo, 9, payload, 3, scratch, out);
    wire::FrameDecoder<> decoder;
    uint8_t noise = 0xA7;
    for (uint8_t round = 0; round < 40; ++round) {
        // Noise without a zero, at times longer than any frame; then a zero: one bad frame, and in
        // step again.
        const uint16_t length = static_cast<uint16_t>(round * 17);
        for (uint16_t i = 0; i < length; ++i) {
            noise = static_cast<uint8_t>(noise * 5 + 3);
            decoder.push(noise == 0 ? 1 : noise);
        }
        const wire::DecodeEvent end = decoder.push(0);
        report.check(end ==
                         (length == 0 ? wire::DecodeEvent::kNothing : wire::DecodeEvent::kBadFrame),
                     __LINE__);
        wire::DecodeEvent event = wire::DecodeEvent::kNothing;
        for (size_t i = 0; i < bytes; ++i) {
            event = decoder.push(out[i]);
        }
        report.check(event == wire::DecodeEvent::kFrame && decoder.frame().number == 9, __LINE__);
    }
    // One bit wrong anywhere is a bad frame, or two, never a good one with other content.
    for (size_t at = 0; at + 1 < bytes; ++at) {
        for (uint8_t bit = 0; bit < 8; ++bit) {
            wire::FrameDecoder<> fresh;
            bool good = false;
            for (size_t i = 0; i < bytes; ++i) {
                const uint8_t flip = i == at ? static_cast<uint8_t>(1u << bit) : uint8_t{0};
                good = good ||
                       fresh.push(static_cast<uint8_t>(out[i] ^ flip)) == wire::DecodeEvent::kFrame;
            }
            report.check(!good, __LINE__);
        }
    }
}

template <class Report> void check_codec(Report& report) {
    const uint8_t digits[] = {'1', '2', '3', '4', '5', '6', '7', '8', '9'};
    report.check(wire::crc16(digits, 9) == 0x29B1,
                 __LINE__); // the usual check value of this CRC
    report.check(wire::crc16(digits, 0) == 0xFFFF, __LINE__);

    const size_t runs[] = {0, 1, 2, 252, 253, 254, 255, 256};
    for (const size_t ones : runs) {
        check_cobs_run(report, ones, false, __LINE__);
        check_cobs_run(report, ones, true, __LINE__);
    }
    uint8_t zeros[6] = {0, 0, 0, 0, 0, 0};
    uint8_t out[8];
    report.check(wire::cobs_encode(zeros, 3, out) == 4, __LINE__);
    report.check(out[0] == 1 && out[1] == 1 && out[2] == 1 && out[3] == 1, __LINE__);
    uint8_t broken[] = {5, 1, 2};
    report.check(!wire::cobs_decode_in_place(broken, 3).ok, __LINE__); // points past the end
    uint8_t holed[] = {3, 0, 2};
    report.check(!wire::cobs_decode_in_place(holed, 3).ok, __LINE__); // a zero inside
    report.check(!wire::cobs_decode_in_place(holed, 0).ok, __LINE__);

#define X(type, kind, size, hex)                                                                   \
    check_golden<Report, wire::type>(report, kind, size, hex, __LINE__);
    YOKEDOCK_GOLDEN(X)
#undef X
    check_resync(report);
}

} // namespace test
} // namespace yokedock
