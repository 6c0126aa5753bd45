// SPDX-License-Identifier: MIT
// The picture: a pattern from timer 2, gated by a window from timer 3, so that a picture can be judged when a
// tube is attached.
//
//   line start          window opens (exact)              closes (exact)   line end
//   |---- blanking_end ----|======== picture =================|-- porch --|
//
// Timer 2 runs free with a period that does not divide the line, so the first instructions of a picture line's
// slot handler put it in step: it passes 0 at the very tick the window opens.
#pragma once
#include "firmware/ports/avr/state.hpp"

/// Names without namespace: the first instructions of the slot handler are assembler and read these.
extern "C" {
extern volatile uint8_t yokedock_picture_add;    ///< timer 2's count minus timer 1's, modulo the period
extern volatile uint8_t yokedock_picture_period;
extern volatile uint8_t yokedock_picture_tccr2a; ///< pattern pin's connection in the next slot
extern volatile uint16_t yokedock_picture_open;  ///< low half of the tick the window opens, less 1
extern volatile uint8_t yokedock_tccr3a;
}

namespace yokedock {
namespace firmware {

struct VideoState {
    uint8_t pattern;       ///< wire::VideoPattern
    uint8_t row;           ///< lines left in the present row of bars
    uint8_t row_lines;
    uint8_t white;         ///< horizontal bars: the present row is white
    uint16_t line;         ///< lines since the field start
    uint16_t blanked;      ///< lines before the picture
    uint16_t last;         ///< first line after the picture
    uint16_t blanking_end; ///< ticks
    uint16_t width;        ///< ticks
};
extern VideoState video;

/// Main loop: takes pattern and sync plan over. Call after every change of either.
void set_video_pattern(wire::VideoPattern pattern, const wire::SyncAchieved& plan);

/// Slot handler: decides what the next slot shows. start: its tick.
inline void plan_picture(uint32_t start) {
    const uint8_t shape = sequencer.shape();
    if (sequencer.starts_field() != 0) {
        video.line = 0;
        video.row = 1;
        video.white = 0;
    }
    uint8_t due = 0;
    if (sequencer.starts_line() != 0) {
        const uint16_t line = ++video.line;
        if ((shape & kShapePicture) != 0 && line > video.blanked && line <= video.last) {
            if (--video.row == 0) {
                video.row = video.row_lines;
                video.white ^= 1;
            }
            due = 1;
            uint8_t tccr2a = 0;
            const uint8_t pattern = video.pattern;
            if (pattern == static_cast<uint8_t>(wire::VideoPattern::kHorizontalBars)) {
                due = video.white;
            } else if (pattern == static_cast<uint8_t>(wire::VideoPattern::kVerticalBars)) {
                tccr2a = (1 << COM2B1) | (1 << WGM21) | (1 << WGM20);
            } else if (pattern == static_cast<uint8_t>(wire::VideoPattern::kGrid)) {
                tccr2a = video.row == video.row_lines
                             ? 0
                             : (1 << COM2B1) | (1 << WGM21) | (1 << WGM20);
            }
            yokedock_picture_tccr2a = static_cast<uint8_t>(tccr2a | (1 << WGM21) | (1 << WGM20));
            yokedock_picture_open =
                static_cast<uint16_t>(static_cast<uint16_t>(start) + video.blanking_end - 1);
        }
    }
    if (due != 0) {
        GPIOR0 |= 1 << kPictureDueBit;
    } else {
        GPIOR0 &= static_cast<uint8_t>(~(1 << kPictureDueBit));
    }
}

} // namespace firmware
} // namespace yokedock
