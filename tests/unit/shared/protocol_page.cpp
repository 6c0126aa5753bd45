// SPDX-License-Identifier: MIT
#include "tests/unit/shared/protocol_page.hpp"
#include "shared/wire/frame.hpp"
#include <sstream>

namespace yokedock::test {
namespace {

/// Writes a table of a message's fields. Rows of a repeated group are told once.
class PageVisitor {
  public:
    explicit PageVisitor(std::ostringstream& out) : out_(out) {}
    void field(const char* name, const char* text, const std::uint8_t&) { row(name, text, 1); }
    void field(const char* name, const char* text, const std::uint16_t&) { row(name, text, 2); }
    void field(const char* name, const char* text, const std::uint32_t&) { row(name, text, 4); }

  private:
    void row(const char* name, const char* text, int bytes) {
        if (index_ == 0) {
            out_ << "\n| field | bytes | offset | name | meaning |\n|---|---|---|---|---|\n";
        }
        out_ << "| " << index_++ << " | " << bytes << " | " << offset_ << " | `" << name << "` | "
             << text << " |\n";
        offset_ += bytes;
    }
    std::ostringstream& out_;
    int index_ = 0;
    int offset_ = 0;
};

template <class Message> void fields(std::ostringstream& out, const char* title) {
    Message message{};
    out << "\n" << title << ": " << wire::wire_size<Message>() << " bytes";
    if (wire::wire_size<Message>() == 0) {
        out << ", no fields";
    }
    out << ".\n";
    PageVisitor visitor(out);
    message.visit(visitor);
}

std::string hex(int id) {
    std::ostringstream out;
    out << "0x" << std::hex << std::uppercase << (id < 16 ? "0" : "") << id;
    return out.str();
}

} // namespace

std::string protocol_page() {
    std::ostringstream out;
    out << "<!-- Made from shared/wire/messages.hpp by the target protocol_page; a test fails when "
           "it is stale. -->\n"
           "# Wire protocol, version "
        << wire::kProtocolVersion
        << "\n\n"
           "Serial line: "
        << wire::kBaudRate
        << " baud, 8 data bits, no parity, 1 stop bit. Every number is little-endian.\n\n"
           "A frame is `COBS(kind, number, payload, CRC low, CRC high)` and a zero byte. The "
           "CRC-16 has the polynomial\n"
           "0x1021, the start value 0xFFFF, most significant bit first, and covers kind, number "
           "and payload;\n"
           "`123456789` gives 0x29B1. A payload has at most "
        << wire::kMaxPayloadBytes
        << " bytes.\n\n"
           "The host sends a request with a number of its choice. The device answers once, with "
           "the same number and the\n"
           "request's kind plus "
        << hex(wire::kAnswerBit)
        << ", or with `refused`. The same kind and number again means that\n"
           "the answer was lost: the device repeats it and does nothing twice. `identify` is "
           "always done anew.\n"
           "`read_blocks` yields any count of `block` frames, then its answer; a new request ends "
           "them.\n\n"
           "## Requests\n\n| id | request | what it does |\n|---|---|---|\n";
#define X(name, id, request, answer, text)                                                         \
    out << "| " << hex(id) << " | `" #name "` | " << text << " |\n";
    YOKEDOCK_REQUESTS(X)
#undef X
    out << "\n## Frames that are no answer to one kind\n\n| id | frame | meaning "
           "|\n|---|---|---|\n";
#define X(name, id, head, text) out << "| " << hex(id) << " | `" #name "` | " << text << " |\n";
    YOKEDOCK_DEVICE_FRAMES(X)
#undef X
    out << "\n## Refusals\n\n| number | reason | detail | meaning |\n|---|---|---|---|\n";
#define X(name, id, detail, text)                                                                  \
    out << "| " << id << " | `" #name "` | " << detail << " | " << text << " |\n";
    YOKEDOCK_REFUSALS(X)
#undef X
    out << "\n## Bench states\n\n| number | state | meaning |\n|---|---|---|\n";
#define X(name, id, text) out << "| " << id << " | `" #name "` | " << text << " |\n";
    YOKEDOCK_BENCH_STATES(X)
#undef X
    out << "\n## Stop causes\n\n| number | cause | meaning | next step |\n|---|---|---|---|\n";
#define X(name, id, text, next_step)                                                               \
    out << "| " << id << " | `" #name "` | " << text << " | " << next_step << " |\n";
    YOKEDOCK_STOP_CAUSES(X)
#undef X
#define X(name, id, text) out << "| " << id << " | `" #name "` | " << text << " |\n";
    out << "\n## Reset causes\n\n| number | cause | meaning |\n|---|---|---|\n";
    YOKEDOCK_RESET_CAUSES(X)
    out << "\n## States of a load step\n\n| number | state | meaning |\n|---|---|---|\n";
    YOKEDOCK_STEP_STATES(X)
#undef X
    out << "\n## Fields\n\nA refusal of a value names its field by the number in the first "
           "column.\n";
#define X(name, id, request, answer, text)                                                         \
    out << "\n### " #name "\n";                                                                    \
    fields<wire::request>(out, "Request");                                                         \
    fields<wire::answer>(out, "Answer");
    YOKEDOCK_REQUESTS(X)
#undef X
#define X(name, id, head, text)                                                                    \
    out << "\n### " #name "\n";                                                                    \
    fields<wire::head>(out, "Head");
    YOKEDOCK_DEVICE_FRAMES(X)
#undef X
    out << "\n`echo` carries 0 to " << int{wire::kEchoBytes}
        << " free bytes both ways.\n\n"
           "## Words of a block\n\n"
           "Times are device ticks, one per CPU cycle, 32 bits, wrapping. At most "
        << int{wire::kBlockDataBytes}
        << " bytes of words follow the head.\n\n"
           "| kind | holds | bytes per word | word |\n|---|---|---|---|\n"
           "| 1 | samples | 4 | bits 0-9 raw code, 10-12 channel, 13-31 trigger time less "
           "`base_time` |\n"
           "| 2 | line retrace edges | 2 | bits 0-14 ticks since the edge before (first: since "
           "`base_time`), bit 15 rising |\n"
           "| 3 | field retrace edges | 4 | bits 0-30 low bits of the time, bit 31 rising |\n"
           "| 4 | field starts | 8 | see below |\n";
    fields<wire::FieldStart>(out, "Field start");
    return out.str();
}

} // namespace yokedock::test
