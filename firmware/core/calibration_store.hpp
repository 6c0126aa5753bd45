// SPDX-License-Identifier: MIT
// The calibration in the EEPROM: two copies, written in turn, so that one whole copy is there at
// any moment, whenever the supply is cut.
//
//   copy: mark, then sequence (4), fields in wire order, CRC-16 of sequence and fields (2)
//   whole: mark is kWhole and the CRC is right; empty: mark and sequence are all ones, as erased
//   Writing takes the mark away first, writes the rest, and puts the mark back last. Of two whole
//   copies the one with the later sequence counts.
//
// Hardware provides
//   uint8_t eeprom_read(uint16_t address);
//   bool eeprom_ready();                             the byte written last is done
//   void eeprom_write(uint16_t address, uint8_t);    begins a byte; takes some 3.4 ms
//   using Crc;                                       as in frame_writer.hpp
#pragma once
#include "shared/wire/crc16.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

template <class Hardware> class CalibrationStore {
  public:
    static constexpr uint16_t kFieldBytes = wire::wire_size<wire::Calibration>();
    static constexpr uint16_t kImageBytes = 4 + kFieldBytes + 2; ///< a copy without its mark
    static constexpr uint16_t kCopyBytes = 1 + kImageBytes;
    static constexpr uint8_t kWhole = 0xC5;
    /// Address of copy 0 or 1. Below are other things (the serial number, at 0).
    static constexpr uint16_t address_of(uint8_t copy) {
        return copy == 0 ? uint16_t{64} : uint16_t{320};
    }
    static_assert(64 + kCopyBytes <= 320, "the copies do not overlap");

    explicit CalibrationStore(Hardware& hardware) : hw_(hardware) {}

    /// The newest whole copy, or zeros, and the state of both. Not while storing.
    wire::CalibrationAnswer read() {
        const Found found = find();
        wire::CalibrationAnswer answer;
        answer.copies = found.copies;
        answer.newest = found.newest;
        answer.sequence = found.sequence;
        if (found.newest != 0) {
            Reader reader{hw_, fields_of(found)};
            answer.calibration.visit(reader);
        }
        return answer;
    }

    /// Serial number of the newest whole copy; 0: there is none.
    uint32_t serial() {
        const Found found = find();
        uint32_t serial = 0;
        if (found.newest != 0) {
            Reader reader{hw_, fields_of(found)};
            reader.field("", "", serial); // the first one
        }
        return serial;
    }

    /// Begins to store. image: kImageBytes of memory that stay untouched until storing() is false.
    void begin(const wire::Calibration& calibration, uint8_t* image) {
        const Found now = find();
        target_ = address_of(now.newest == 1 ? 1 : 0);
        const uint32_t sequence = now.newest == 0 ? 1 : now.sequence + 1;
        for (uint8_t i = 0; i < 4; ++i) {
            image[i] = static_cast<uint8_t>(sequence >> (8 * i));
        }
        wire::write_fields(calibration, image + 4, kFieldBytes);
        uint16_t crc = wire::kCrcInit;
        for (uint16_t i = 0; i < 4 + kFieldBytes; ++i) {
            crc = Hardware::Crc::update(crc, image[i]);
        }
        image[4 + kFieldBytes] = static_cast<uint8_t>(crc);
        image[5 + kFieldBytes] = static_cast<uint8_t>(crc >> 8);
        image_ = image;
        left_ = kSteps;
    }

    bool storing() const { return left_ != 0; }
    uint16_t left() const { return left_; } ///< bytes to write

    /// Main loop: begins the next byte once the one before is done. True when all is stored.
    bool poll() {
        if (left_ == 0 || !hw_.eeprom_ready()) {
            return false;
        }
        if (left_ == 1 && written_mark_) {
            left_ = 0;
            written_mark_ = false;
            return true;
        }
        for (uint8_t n = 0; n < 8; ++n) { // bytes that are right already need no writing
            const uint16_t step = static_cast<uint16_t>(kSteps - left_);
            const uint16_t address =
                step == 0 || step > kImageBytes ? target_ : static_cast<uint16_t>(target_ + step);
            const uint8_t value = step == 0            ? uint8_t{0}
                                  : step > kImageBytes ? kWhole
                                                       : image_[step - 1];
            const bool last = left_ == 1;
            if (hw_.eeprom_read(address) != value) {
                hw_.eeprom_write(address, value);
                written_mark_ = last;
                left_ = last ? left_ : static_cast<uint16_t>(left_ - 1);
                return false;
            }
            left_ = static_cast<uint16_t>(left_ - 1);
            if (last) {
                return true;
            }
        }
        return false;
    }

  private:
    static constexpr uint16_t kSteps = kImageBytes + 2; ///< mark off, the image, mark on

    /// A visitor over EEPROM bytes.
    struct Reader {
        Hardware& hw;
        uint16_t at;
        void field(const char*, const char*, uint8_t& v) { v = hw.eeprom_read(at++); }
        void field(const char*, const char*, uint16_t& v) {
            v = hw.eeprom_read(at++);
            v = static_cast<uint16_t>(v | (static_cast<uint16_t>(hw.eeprom_read(at++)) << 8));
        }
        void field(const char*, const char*, uint32_t& v) {
            v = 0;
            for (uint8_t i = 0; i < 4; ++i) {
                v |= static_cast<uint32_t>(hw.eeprom_read(at++)) << (8 * i);
            }
        }
    };

    struct Found {
        uint8_t copies; ///< as in wire::CalibrationAnswer
        uint8_t newest;
        uint32_t sequence;
    };

    static uint16_t fields_of(const Found& found) {
        return static_cast<uint16_t>(address_of(static_cast<uint8_t>(found.newest - 1)) + 5);
    }

    Found find() {
        Found found{0, 0, 0};
        for (uint8_t copy = 0; copy < 2; ++copy) {
            const uint32_t sequence = sequence_of(copy);
            if (is_whole(copy)) {
                found.copies = static_cast<uint8_t>(found.copies | (1u << copy));
                if (found.newest == 0 || static_cast<int32_t>(sequence - found.sequence) > 0) {
                    found.newest = static_cast<uint8_t>(copy + 1);
                    found.sequence = sequence;
                }
            } else if (hw_.eeprom_read(address_of(copy)) == 0xFF && sequence == 0xFFFFFFFFu) {
                found.copies = static_cast<uint8_t>(found.copies | (0x10u << copy));
            }
        }
        return found;
    }

    uint32_t sequence_of(uint8_t copy) {
        Reader reader{hw_, static_cast<uint16_t>(address_of(copy) + 1)};
        uint32_t sequence;
        reader.field("", "", sequence);
        return sequence;
    }

    bool is_whole(uint8_t copy) {
        const uint16_t at = address_of(copy);
        if (hw_.eeprom_read(at) != kWhole) {
            return false;
        }
        uint16_t crc = wire::kCrcInit;
        for (uint16_t i = 0; i < 4 + kFieldBytes; ++i) {
            crc = Hardware::Crc::update(crc, hw_.eeprom_read(static_cast<uint16_t>(at + 1 + i)));
        }
        uint16_t stored;
        Reader reader{hw_, static_cast<uint16_t>(at + 5 + kFieldBytes)};
        reader.field("", "", stored);
        return crc == stored;
    }

    Hardware& hw_;
    uint16_t target_ = 0;
    const uint8_t* image_ = nullptr;
    uint16_t left_ = 0;
    bool written_mark_ = false;
};

} // namespace firmware
} // namespace yokedock
