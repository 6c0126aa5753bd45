// SPDX-License-Identifier: MIT
// The pool of numbered blocks between the interrupts that measure and the main loop that sends.
//
//   free --open()--> open (at most one per kind) --seal()--> sealed, numbered --free_below()-->
//   free
//
// A word that finds no block is dropped and counted; the next block of that kind carries the gap
// flag. Every kind is pushed from one context only. Lock is held (its object's life time) wherever
// kinds meet.
#pragma once
#include "firmware/core/rare.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

struct Block {
    uint32_t base_time;
    uint8_t kind;
    uint8_t flags;
    uint8_t count;
    uint8_t data[wire::kBlockDataBytes];
};

constexpr uint8_t bytes_per_word(wire::BlockKind kind) {
    return kind == wire::BlockKind::kFieldStarts ? 8 : kind == wire::BlockKind::kLineEdges ? 2 : 4;
}

template <uint8_t kBlocks, class Lock> class BlockPool {
    static_assert(kBlocks > 4 && kBlocks <= 32, "one open block per kind, and the ring of 32");

  public:
    /// Empties the pool; numbers start at 0 again. No push may run meanwhile.
    void reset() {
        for (uint8_t i = 0; i < kBlocks; ++i) {
            free_[i] = &blocks_[i];
        }
        path.free_count = kBlocks;
        next_ = 0;
        held_ = 0;
        for (Writer& writer : path.writer) {
            writer.block = nullptr;
            writer.left = 0;
            writer.gap = 0;
            writer.dropped = 0;
        }
    }

    /// While true a new block takes the place of the oldest sealed one, when none is free: the pool
    /// then always holds what was last. No push may run meanwhile, and nobody may read.
    void keep_newest(bool on) { keep_newest_ = on; }

    /// kBlockDataBytes of memory for another use, until the next push or reset. The pool must have
    /// been reset, and nothing may be captured.
    uint8_t* scratch() { return blocks_[0].data; }

    // ---- pushing: from interrupts
    // ------------------------------------------------------------------

    /// A sample, triggered at the tick whose low half this is; extend(time_low) gives the whole
    /// tick. Samples come less than 65536 ticks apart, or break_samples() is called between.
    template <class Extend>
    void push_sample(uint16_t time_low, uint16_t code, uint8_t channel, Extend extend) {
        SampleWriter& s = path.sample;
        const uint16_t step = static_cast<uint16_t>(time_low - s.last_low);
        s.last_low = time_low;
        uint16_t age_low = static_cast<uint16_t>(s.age_low + step);
        uint8_t age_high = s.age_high;
        if (age_low < step) {
            ++age_high;
        }
        Writer& w = path.writer[0];
        if (w.left == 0 || age_high >= (1u << (wire::kSampleTimeBits - 16))) {
            if (!open_samples(time_low, extend)) {
                return;
            }
            age_low = 0;
            age_high = 0;
        }
        s.age_low = age_low;
        s.age_high = age_high;
        // code | channel << 10 | age << 13, byte by byte: shifts of 32 bits are slow on the device,
        // and this is done for every sample
        uint8_t* at = w.at;
        *at++ = static_cast<uint8_t>(code);
        const uint16_t low = static_cast<uint16_t>(static_cast<uint8_t>(age_low) * uint16_t{32});
        const uint16_t middle =
            static_cast<uint16_t>(static_cast<uint8_t>(age_low >> 8) * uint16_t{32});
        *at++ =
            static_cast<uint8_t>(static_cast<uint8_t>(code >> 8) |
                                 static_cast<uint8_t>(channel << 2) | static_cast<uint8_t>(low));
        *at++ = static_cast<uint8_t>(static_cast<uint8_t>(low >> 8) | static_cast<uint8_t>(middle));
        *at++ = static_cast<uint8_t>(static_cast<uint8_t>(middle >> 8) |
                                     static_cast<uint8_t>(age_high << 5));
        w.at = at;
        if (--w.left == 0) {
            seal(w);
        }
    }

    /// Part of push_sample() where no block is open, or the open one is full or too old: false when
    /// there is none, and the word is lost.
    template <class Extend> YOKEDOCK_RARE bool open_samples(uint16_t time_low, Extend extend) {
        break_samples();
        return open(path.writer[0], wire::BlockKind::kSamples, extend(time_low));
    }

    /// A sample was lost: the next one begins a new block. From the same context as push_sample().
    void break_samples() {
        if (path.writer[0].block != nullptr) {
            seal(path.writer[0]);
        }
    }

    /// A line retrace edge at the tick whose low half this is; extend as above. wrapped: the low
    /// half may have passed 0 since the edge before. Returns the ticks since the edge before when
    /// they are 32768 or more, else 0.
    template <class Extend>
    uint32_t push_line_edge(uint16_t low, bool rising, bool wrapped, Extend extend) {
        Writer& w = path.writer[1];
        uint32_t far = 0;
        uint16_t gap = static_cast<uint16_t>(low - path.line_low);
        if (wrapped || gap >= 0x8000u) {
            const uint32_t time = extend(low);
            const uint32_t whole_gap =
                time - ((static_cast<uint32_t>(path.line_high) << 16) | path.line_low);
            path.line_high = static_cast<uint16_t>(time >> 16);
            if (whole_gap >= 0x8000u) {
                far = whole_gap;
                if (w.block != nullptr) {
                    seal(w);
                }
            }
        }
        path.line_low = low;
        if (w.left == 0) {
            if (!open(w, wire::BlockKind::kLineEdges, extend(low))) {
                return far;
            }
            gap = 0;
        }
        w.at[0] = static_cast<uint8_t>(gap);
        w.at[1] = static_cast<uint8_t>(static_cast<uint8_t>(gap >> 8) | (rising ? 0x80 : 0));
        w.at += 2;
        if (--w.left == 0) {
            seal(w);
        }
        return far;
    }

    /// Line edges may have been lost before the next one: its block carries the gap flag, though no
    /// word of the pool was dropped. From the same context as push_line_edge().
    YOKEDOCK_RARE void break_line_edges() {
        Writer& w = path.writer[1];
        if (w.block != nullptr) {
            seal(w);
        }
        w.gap = 1;
    }

    /// Before the first line edge of a capture, at tick `now`: no edge was there.
    void begin_line_edges(uint32_t now) {
        path.line_low = static_cast<uint16_t>(now);
        path.line_high = static_cast<uint16_t>(now >> 16);
    }

    /// A field retrace edge.
    void push_field_edge(uint32_t time, bool rising) {
        Writer& w = path.writer[2];
        if (w.left == 0 && !open(w, wire::BlockKind::kFieldEdges, time)) {
            return;
        }
        put32(w, (time & 0x7FFFFFFFu) | (rising ? 0x80000000u : 0));
        if (--w.left == 0) {
            seal(w);
        }
    }

    /// A field start, fields as wire::FieldStart.
    void push_field_start(uint32_t time, uint32_t accumulator) {
        Writer& w = path.writer[3];
        if (w.left == 0 && !open(w, wire::BlockKind::kFieldStarts, time)) {
            return;
        }
        put32(w, time);
        put32(w, accumulator);
        if (--w.left == 0) {
            seal(w);
        }
    }

    /// Field starts that came faster than they were fetched.
    void lose_field_starts(uint8_t count) {
        for (; count != 0; --count) {
            lose(path.writer[3]);
        }
        if (path.writer[3].left != 0) {
            seal(path.writer[3]); // the gap is told by the next block
        }
    }

    // ---- reading: main loop
    // ------------------------------------------------------------------------

    /// Seals the open blocks that hold anything. No push may run meanwhile.
    void seal_open() {
        for (Writer& writer : path.writer) {
            if (writer.block != nullptr) {
                seal(writer);
            }
        }
    }

    /// The sealed block with this number; nullptr when it is not (or no longer) held.
    const Block* find(uint16_t number) const {
        const Sealed sealed = this->sealed();
        const uint16_t back = static_cast<uint16_t>(sealed.next - number);
        return back == 0 || back > sealed.held ? nullptr : order_[number & 31];
    }

    /// Blocks before number may be reused. Numbers not yet given free everything sealed.
    void free_below(uint16_t number) {
        for (;;) {
            const Sealed sealed = this->sealed();
            const uint16_t oldest = static_cast<uint16_t>(sealed.next - sealed.held);
            if (sealed.held == 0 ||
                static_cast<int16_t>(static_cast<uint16_t>(number - oldest)) <= 0) {
                return;
            }
            Block* block = order_[oldest & 31]; // only this context takes blocks out of the order
            Lock lock;
            free_[path.free_count++] = block;
            --held_;
        }
    }

    uint16_t next() const {
        Lock lock;
        return next_;
    }
    uint16_t oldest() const {
        const Sealed sealed = this->sealed();
        return static_cast<uint16_t>(sealed.next - sealed.held);
    }
    uint32_t dropped() const {
        uint32_t sum = 0;
        for (const Writer& writer : path.writer) {
            Lock lock; // one at a time: the slot handler must not wait for all
            sum += writer.dropped;
        }
        return sum;
    }

    struct Writer {
        Block* block; ///< open; nullptr: none
        uint8_t* at;
        uint32_t base;
        uint8_t left; ///< words that still fit; 0: none, for the block is full, or not open
        uint8_t gap;
        uint32_t dropped; ///< words; by kind, for one kind's interrupt comes between another's
    };

    struct SampleWriter {
        uint16_t last_low; ///< time of the last sample
        uint16_t age_low;  ///< and its distance from the block's base time
        uint8_t age_high;
    };

    /// What the common push needs. A port may store a word by hand while left is not 0: at, left,
    /// and the times of its kind. A block filled so is sealed where the next one is opened.
    struct Path {
        Writer writer[4]; ///< by BlockKind, from 0
        SampleWriter sample;
        uint16_t
            line_low; ///< time of the last line edge; the high half as of its last passing of 0
        uint16_t line_high;
        uint8_t free_count; ///< where it is 0 and a writer's block nullptr, a word is counted in
                            ///< the writer's dropped, and its gap set
    };
    Path path = {};

  private:
    struct Sealed {
        uint16_t next;
        uint8_t held;
    };
    /// Short lock: the slot handler must not wait for what is made of it.
    Sealed sealed() const {
        Lock lock;
        return {next_, held_};
    }

    void lose(Writer& w) {
        ++w.dropped;
        w.gap = 1;
    }

    static void put32(Writer& w, uint32_t value) {
        w.at[0] = static_cast<uint8_t>(value);
        w.at[1] = static_cast<uint8_t>(value >> 8);
        w.at[2] = static_cast<uint8_t>(value >> 16);
        w.at[3] = static_cast<uint8_t>(value >> 24);
        w.at += 4;
    }

    YOKEDOCK_RARE bool open(Writer& w, wire::BlockKind kind, uint32_t time) {
        if (w.block != nullptr) {
            seal(w);
        }
        Block* block = take_free();
        if (block == nullptr) {
            lose(w);
            return false;
        }
        block->base_time = time;
        block->kind = static_cast<uint8_t>(kind);
        block->flags = w.gap != 0 ? wire::kBlockFlagGap : 0;
        w.gap = 0;
        w.block = block;
        w.at = block->data;
        w.base = time;
        w.left = static_cast<uint8_t>(wire::kBlockDataBytes / bytes_per_word(kind));
        return true;
    }

    Block* take_free() {
        Lock lock;
        if (path.free_count == 0 && keep_newest_ && held_ != 0) {
            Block* const oldest = order_[static_cast<uint16_t>(next_ - held_) & 31];
            --held_;
            return oldest;
        }
        return path.free_count == 0 ? nullptr : free_[--path.free_count];
    }

    YOKEDOCK_RARE void seal(Writer& w) {
        Block* block = w.block;
        const uint8_t bytes = static_cast<uint8_t>(w.at - block->data);
        switch (bytes_per_word(static_cast<wire::BlockKind>(block->kind))) { // shifts by constants
        case 2:
            block->count = bytes / 2;
            break;
        case 4:
            block->count = bytes / 4;
            break;
        default:
            block->count = bytes / 8;
        }
        w.left = 0;
        w.block = nullptr;
        Lock lock;
        order_[next_ & 31] = block;
        ++next_;
        ++held_;
    }

    bool keep_newest_ = false;
    uint16_t next_ = 0;
    uint8_t held_ = 0;
    Block* free_[kBlocks] = {};
    Block* order_[32] = {}; ///< by number modulo 32
    Block blocks_[kBlocks] = {};
};

} // namespace firmware
} // namespace yokedock
