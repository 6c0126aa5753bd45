// SPDX-License-Identifier: MIT
// The picture: a pattern from timer 2, gated by a window from timer 3, so that a picture can be
// judged when a tube is attached.
//
//   line start          window opens (exact)              closes (exact)   line end
//   |---- blanking_end ----|======== picture =================|-- porch --|
//
// Timer 2 runs free with a period that does not divide the line, so the first instructions of a
// picture line's slot handler put it in step: it passes 0 at the very tick the window opens.
#pragma once
#include "firmware/ports/avr/state.hpp"

/// Names without namespace: the first instructions of the slot handler are assembler and read
/// these.
extern "C" {
extern volatile uint8_t
    yokedock_picture_add; ///< timer 2's count minus timer 1's, modulo the period
extern volatile uint8_t yokedock_picture_period;
extern volatile uint8_t yokedock_picture_tccr2a; ///< pattern pin's connection in the next slot
extern volatile uint16_t yokedock_picture_open;  ///< low half of the tick the window opens, less 1
extern volatile uint8_t yokedock_tccr3a;
}

namespace yokedock {
namespace firmware {

/// Two kinds of rows take turns down the picture: white and black, or a line and what is below it.
struct VideoRow {
    uint8_t lines;
    uint8_t due;    ///< the window opens in these lines
    uint8_t tccr2a; ///< pattern from timer 2, or constant white
};

struct VideoState {
    uint8_t pattern; ///< wire::VideoPattern
    uint8_t left;    ///< lines left in the present row
    uint8_t due;     ///< of the present row
    uint8_t row;     ///< rows begun in this field
    uint8_t rows;    ///< of a picture
    uint8_t blanked; ///< line starts before the picture
    uint16_t open;   ///< ticks from line start to the window's opening, less 1
    uint16_t width;  ///< ticks
    VideoRow kind[2];
};
extern VideoState video;

/// Main loop: takes pattern and sync plan over. Call after every change of either.
void set_video_pattern(wire::VideoPattern pattern, const wire::SyncAchieved& plan);

/// After the slot handler of the slot before: a field begins.
inline void start_picture_field() {
    video.left = video.blanked;
    video.due = 0;
    video.row = 0;
}

} // namespace firmware
} // namespace yokedock
