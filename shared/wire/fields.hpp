// SPDX-License-Identifier: MIT
// Fields of a message, written byte by byte, little-endian: no struct is ever copied to the wire, so
// neither padding nor the width of int can change a frame.
//
// A message type lists its fields once, in `visit(visitor)`, by calling
//     visitor.field("name", "what it is, with unit", member);
// for unsigned members of 8, 16 or 32 bits. Writing, reading, sizing and the protocol page all come from it.
#pragma once
#include <stddef.h>
#include <stdint.h>

namespace yokedock {
namespace wire {

/// Counts the bytes of a message's fields.
struct SizeVisitor {
    size_t size = 0;
    constexpr void field(const char*, const char*, const uint8_t&) { size += 1; }
    constexpr void field(const char*, const char*, const uint16_t&) { size += 2; }
    constexpr void field(const char*, const char*, const uint32_t&) { size += 4; }
};

/// Writes fields to a buffer; never past its end: ok turns false instead.
class WriteVisitor {
  public:
    constexpr WriteVisitor(uint8_t* out, size_t capacity) : out_(out), capacity_(capacity) {}
    constexpr void field(const char*, const char*, const uint8_t& v) { put(v); }
    constexpr void field(const char*, const char*, const uint16_t& v) {
        put(static_cast<uint8_t>(v));
        put(static_cast<uint8_t>(v >> 8));
    }
    constexpr void field(const char*, const char*, const uint32_t& v) {
        put(static_cast<uint8_t>(v));
        put(static_cast<uint8_t>(v >> 8));
        put(static_cast<uint8_t>(v >> 16));
        put(static_cast<uint8_t>(v >> 24));
    }
    constexpr bool ok() const { return ok_; }
    constexpr size_t size() const { return size_; }

  private:
    constexpr void put(uint8_t byte) {
        if (size_ < capacity_) {
            out_[size_++] = byte;
        } else {
            ok_ = false;
        }
    }
    uint8_t* out_;
    size_t capacity_;
    size_t size_ = 0;
    bool ok_ = true;
};

/// Reads fields from a buffer; never past its end: ok turns false and the rest reads as 0.
class ReadVisitor {
  public:
    constexpr ReadVisitor(const uint8_t* in, size_t size) : in_(in), size_(size) {}
    constexpr void field(const char*, const char*, uint8_t& v) { v = take(); }
    constexpr void field(const char*, const char*, uint16_t& v) {
        const uint16_t low = take();
        v = static_cast<uint16_t>(low | (static_cast<uint16_t>(take()) << 8));
    }
    constexpr void field(const char*, const char*, uint32_t& v) {
        v = take();
        v |= static_cast<uint32_t>(take()) << 8;
        v |= static_cast<uint32_t>(take()) << 16;
        v |= static_cast<uint32_t>(take()) << 24;
    }
    constexpr bool ok() const { return ok_; }
    /// Bytes not read yet.
    constexpr size_t left() const { return size_ - at_; }
    constexpr const uint8_t* rest() const { return in_ + at_; }

  private:
    constexpr uint8_t take() {
        if (at_ < size_) {
            return in_[at_++];
        }
        ok_ = false;
        return 0;
    }
    const uint8_t* in_;
    size_t size_;
    size_t at_ = 0;
    bool ok_ = true;
};

/// Wire size of a fixed-size message type, in bytes.
template <class Message> constexpr size_t wire_size() {
    Message message{};
    SizeVisitor visitor{};
    message.visit(visitor);
    return visitor.size;
}

/// Writes message to out. Returns the bytes written, 0 when capacity is too small.
template <class Message>
constexpr size_t write_fields(const Message& message, uint8_t* out, size_t capacity) {
    WriteVisitor visitor(out, capacity);
    Message copy = message; // visit() is one function for reading and writing, hence not const
    copy.visit(visitor);
    return visitor.ok() ? visitor.size() : 0;
}

/// Reads message from exactly size bytes. False when the size is not the message's own.
template <class Message>
constexpr bool read_fields(Message& message, const uint8_t* in, size_t size) {
    ReadVisitor visitor(in, size);
    message.visit(visitor);
    return visitor.ok() && visitor.left() == 0;
}

} // namespace wire
} // namespace yokedock
