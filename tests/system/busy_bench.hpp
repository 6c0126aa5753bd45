// SPDX-License-Identifier: MIT
// Everything at once: a sample in each line, both edges of both retrace inputs, a picture, and the
// serial line full in both directions. What comes back is compared, word by word, with what was put
// in.
#pragma once
#include "tests/system/firmware_rig.hpp"
#include <algorithm>
#include <array>
#include <deque>
#include <set>
#include <string>

namespace yokedock::test {

class BusyBench {
  public:
    BusyBench(FirmwareRig& rig, const wire::SyncAchieved& plan) : rig_(rig), plan_(plan) {}

    std::uint64_t words = 0;
    std::uint64_t samples_taken() const { return samples_.size(); }
    std::uint64_t late() const { return late_; }
    std::uint64_t dropped = 0;
    std::vector<std::string> problems; ///< the first few
    bool with_picture = true;
    bool with_echo = true;
    std::uint8_t line_mode = 1;
    std::array<std::uint8_t, 2> channels{0, 3};

    void start() {
        using namespace wire::requests;
        if (with_picture) {
            rig_.ask<set_video>({static_cast<std::uint8_t>(wire::VideoPattern::kGrid)});
        }
        rig_.on_sample = [this](std::uint8_t channel, Cycle at) {
            const int code = static_cast<int>(held_.size() * 7 % 1024);
            held_.push_back({at, code, channel});
            return code;
        };
        rig_.on_output = [this](sim::Output output, Cycle at, bool high) {
            output_changed(output, at, high);
        };
        rig_.on_frame = [this](const AnswerFrame& frame) { frame_came(frame); };
        wire::CaptureSettings settings;
        settings.line_edge_mode = line_mode;
        settings.field_edge_mode = 3;
        settings.adc_prescale_log2 = 4;
        settings.entries = 2;
        const auto line = static_cast<std::uint16_t>(2 * plan_.half_line_ticks);
        settings.schedule[0] = {channels[0], 20, 13, static_cast<std::uint16_t>((line - 60) / 13)};
        settings.schedule[1] = {channels[1], 20, 13, static_cast<std::uint16_t>((line - 60) / 13)};
        const wire::CaptureStarted started = rig_.ask<start_capture>(settings);
        aperture_ = started.aperture_ticks;
        running_ = true;
        next_request();
    }

    void stop() {
        running_ = false;
        for (int i = 0; i < 1000 && waiting_; ++i) {
            rig_.run_for(16000); // the exchange under way comes to its end
        }
        rig_.ask<wire::requests::set_video>({0});
        const auto status = rig_.ask<wire::requests::status>();
        const auto stopped = rig_.ask<wire::requests::stop_capture>();
        dropped = stopped.words_dropped;
        late_ = status.samples_late;
        missing_[0] = status.line_missing;
        missing_[1] = status.field_missing;
        while (static_cast<std::uint16_t>(stopped.blocks - next_block_) != 0) {
            const std::uint16_t before = next_block_;
            rig_.ask<wire::requests::read_blocks>(
                wire::ReadBlocksRequest{next_block_, 30, next_block_});
            if (next_block_ == before) {
                problem("a sealed block cannot be read");
                break;
            }
        }
        rig_.on_output = nullptr;
        rig_.on_sample = nullptr;
        rig_.on_frame = nullptr;
        check_completeness();
    }

  private:
    struct Held {
        Cycle at;
        int code;
        int channel;
    };
    struct Stamp {
        std::uint32_t tick;
        bool rising;
        bool after_gap = false; ///< its block said that some before it may be lost
    };

    void problem(const std::string& text) {
        if (problems.size() < 5) {
            problems.push_back(text);
        }
    }

    // ---- the simulated board
    // -----------------------------------------------------------------------

    void output_changed(sim::Output output, Cycle at, bool high) {
        if (output == sim::Output::kOc1a && !high && composite_.size() < 4000000) {
            composite_.insert(at);
        }
        if (output == sim::Output::kOc1c && !high && running_) {
            // A line retrace pulse of 11 us in every line, its place moving through the whole line.
            const Cycle width = 176;
            phase_ = (phase_ + 3) % (2u * plan_.half_line_ticks - width - 40u);
            inject(0, at + 8 + phase_, at + 8 + phase_ + width);
        }
        if (output == sim::Output::kOc3a && !high && running_) {
            field_phase_ = (field_phase_ + 101) % 5000;
            inject(1, at + 50 + field_phase_, at + 50 + field_phase_ + 9000);
        }
    }

    void inject(int input, Cycle rise, Cycle fall) {
        auto& list = injected_[input];
        if (!list.empty() && rise < list.back().first + 350) {
            return; // as on a board: pulses of one input never overlap, and have a gap between
        }
        list.push_back({rise, true});
        if (input == 1 || line_mode == 3) {
            list.push_back({fall, false}); // stamped as well
        }
        const auto pin = input == 0 ? sim::CaptureInput::kIcp4 : sim::CaptureInput::kIcp5;
        rig_.chip().capture_edge(pin, rise, true);
        rig_.chip().capture_edge(pin, fall, false);
    }

    // ---- the host
    // ----------------------------------------------------------------------------------

    void next_request() {
        waiting_ = running_;
        if (!running_) {
            return;
        }
        turn_ = !turn_;
        if (turn_ && with_echo) {
            std::uint8_t payload[wire::kEchoBytes];
            for (std::size_t i = 0; i < sizeof(payload); ++i) {
                payload[i] = static_cast<std::uint8_t>(i * 37 + next_block_);
            }
            rig_.send_payload(wire::MessageKind::echo, payload, sizeof(payload));
        } else {
            rig_.send(wire::MessageKind::read_blocks,
                      wire::ReadBlocksRequest{next_block_, 8, next_block_});
        }
    }

    void frame_came(const AnswerFrame& frame) {
        if (frame.kind == wire::MessageKind::block) {
            take_block(frame);
        } else if (frame.kind == wire::MessageKind::refused) {
            problem("a request was refused");
        } else {
            next_request();
        }
    }

    void take_block(const AnswerFrame& frame) {
        wire::BlockHead head;
        const std::size_t head_size = wire::wire_size<wire::BlockHead>();
        if (!wire::read_fields(head, frame.payload.data(), head_size)) {
            problem("block head");
            return;
        }
        if (head.sequence != next_block_) {
            problem("block out of order");
        }
        ++next_block_;
        wire::ReadVisitor in(frame.payload.data() + head_size, frame.payload.size() - head_size);
        const auto kind = static_cast<wire::BlockKind>(head.kind);
        std::uint32_t last = head.base_time;
        const bool gap = (head.flags & wire::kBlockFlagGap) != 0;
        for (unsigned i = 0; i < head.count; ++i) {
            ++words;
            if (kind == wire::BlockKind::kSamples) {
                std::uint32_t word = 0;
                in.field("", "", word);
                samples_.push_back({head.base_time + (word >> 13), static_cast<int>(word & 1023),
                                    static_cast<int>((word >> 10) & 7)});
            } else if (kind == wire::BlockKind::kLineEdges) {
                std::uint16_t word = 0;
                in.field("", "", word);
                last += word & 0x7FFFu;
                stamps_[0].push_back({last, (word & 0x8000u) != 0, gap && i == 0});
            } else if (kind == wire::BlockKind::kFieldEdges) {
                std::uint32_t word = 0;
                in.field("", "", word);
                stamps_[1].push_back({word & 0x7FFFFFFFu, (word >> 31) != 0, gap && i == 0});
            } else {
                wire::FieldStart start;
                start.visit(in);
                starts_.push_back(start);
            }
        }
        if (!in.ok() || in.left() != 0) {
            problem("block size");
        }
        gaps_ += (head.flags & wire::kBlockFlagGap) != 0 ? 1 : 0;
    }

    // ---- the comparison
    // ----------------------------------------------------------------------------

    /// Ticks and cycles differ by a constant: found once, from the first field start, then
    /// everything must fit.
    void check_completeness() {
        if (starts_.size() < 10) {
            problem("field starts missing");
            return;
        }
        // The constant is the same for every edge: the first field start's own pulse decides it.
        std::set<std::uint32_t> candidates;
        bool found = false;
        for (const Cycle at : composite_) {
            const auto offset = static_cast<std::uint32_t>(at) - starts_[0].time;
            bool all = true;
            for (const wire::FieldStart& start : starts_) {
                all = all && composite_.count(static_cast<std::uint32_t>(offset + start.time)) != 0;
            }
            if (all && starts_match_pulses(offset)) {
                offset_ = offset;
                found = true;
                break;
            }
        }
        if (!found) {
            problem("field starts do not fall on sync edges");
            return;
        }
        check_stamps(0, 0xFFFFFFFFu);
        check_stamps(1, 0x7FFFFFFFu);
        check_samples();
    }

    bool starts_match_pulses(std::uint32_t offset) const {
        // Several offsets a field apart may fit: the stamped edges tell which is right.
        if (stamps_[1].size() < 4) {
            return true;
        }
        std::size_t hits = 0;
        for (const Stamp& stamp : stamps_[1]) {
            for (const auto& edge : injected_[1]) {
                hits += ((stamp.tick + offset) & 0x7FFFFFFFu) == (edge.first & 0x7FFFFFFFu) ? 1 : 0;
            }
        }
        return hits * 10 > stamps_[1].size() * 9;
    }

    void check_stamps(int input, std::uint32_t mask) {
        const auto& want = injected_[input];
        std::size_t at = 0;
        std::size_t skipped = 0;
        for (const Stamp& stamp : stamps_[input]) {
            std::size_t i = at;
            while (i < want.size() && (((stamp.tick + offset_) & mask) != (want[i].first & mask) ||
                                       want[i].second != stamp.rising)) {
                ++i;
            }
            if (i == want.size()) {
                problem("input " + std::to_string(input) + ": stamp that no edge had, tick " +
                        std::to_string(stamp.tick + offset_));
                return;
            }
            // With both edges of a line stamped, one may be overwritten unseen: the host takes no
            // absence from there.
            if (at != 0 && i != at && !stamp.after_gap && !(input == 0 && line_mode == 3)) {
                problem("input " + std::to_string(input) + ": an edge lost without a mark, tick " +
                        std::to_string(stamp.tick + offset_));
            }
            skipped += at != 0 ? i - at : 0;
            at = i + 1;
        }
        if (skipped > dropped + missing_[input]) {
            problem("input " + std::to_string(input) + ": " + std::to_string(skipped) +
                    " edges lost, words dropped " + std::to_string(dropped) + ", missing told " +
                    std::to_string(missing_[input]));
        }
    }

    void check_samples() {
        std::size_t at = 0;
        std::size_t skipped = 0;
        for (const Held& sample : samples_) {
            std::size_t i = at;
            while (i < held_.size() &&
                   (static_cast<std::uint32_t>(held_[i].at) !=
                        static_cast<std::uint32_t>(sample.at) + offset_ + aperture_ ||
                    held_[i].code != sample.code || held_[i].channel != sample.channel)) {
                ++i;
            }
            if (i == held_.size()) {
                problem("sample that was never held, tick " + std::to_string(sample.at + offset_));
                return;
            }
            skipped += at != 0 ? i - at : 0;
            at = i + 1;
        }
        if (skipped > dropped + late_) {
            problem(std::to_string(skipped) + " samples lost, words dropped " +
                    std::to_string(dropped));
        }
    }

    FirmwareRig& rig_;
    wire::SyncAchieved plan_;
    bool running_ = false;
    bool turn_ = false;
    bool waiting_ = false;
    std::uint16_t next_block_ = 0;
    std::uint32_t aperture_ = 0;
    std::uint32_t offset_ = 0;
    std::uint64_t gaps_ = 0;
    std::uint64_t late_ = 0;
    std::uint64_t missing_[2] = {};
    Cycle phase_ = 0;
    Cycle field_phase_ = 0;
    std::vector<std::pair<Cycle, bool>> injected_[2];
    std::vector<Stamp> stamps_[2];
    std::vector<Held> held_;
    std::vector<Held> samples_; ///< at: trigger tick
    std::vector<wire::FieldStart> starts_;
    std::set<Cycle> composite_;
};

} // namespace yokedock::test
