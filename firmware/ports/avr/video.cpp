// SPDX-License-Identifier: MIT
#pragma GCC optimize("O2")
#include "firmware/ports/avr/video.hpp"

// Kept by name: link-time optimisation does not look into assembler text.
#define YOKEDOCK_FOR_ASSEMBLER __attribute__((used, externally_visible))
extern "C" {
YOKEDOCK_FOR_ASSEMBLER volatile uint8_t yokedock_picture_add;
YOKEDOCK_FOR_ASSEMBLER volatile uint8_t yokedock_picture_period;
YOKEDOCK_FOR_ASSEMBLER volatile uint8_t yokedock_picture_tccr2a;
YOKEDOCK_FOR_ASSEMBLER volatile uint16_t yokedock_picture_open;
YOKEDOCK_FOR_ASSEMBLER volatile uint8_t yokedock_tccr3a;
}

namespace yokedock {
namespace firmware {

VideoState video;

namespace {

constexpr uint8_t kRowPairs = 8;       ///< white bars, or fields of the grid, down the picture
constexpr uint8_t kRephaseCycles = 12; ///< from reading TCNT1 to writing TCNT2, slot handler

struct Blanking {
    uint16_t end_ticks;
    uint16_t porch_ticks;
    uint8_t lines;
};

/// Defaults by line rate: those of 525 lines above 15.7 kHz (a half line below 509.6 ticks), else
/// of 625.
Blanking blanking_for(const wire::SyncAchieved& plan) {
    const bool fast = plan.half_line_ticks < 510;
    return {fast ? static_cast<uint16_t>(147) : static_cast<uint16_t>(168), 24,
            fast ? static_cast<uint8_t>(20) : static_cast<uint8_t>(25)};
}

/// Bar period in ticks: about an eighth of the picture, and one that the handler's single
/// subtraction brings into range: 2 * period below 256 and above the blanking, or period above the
/// blanking.
uint8_t bar_period(uint16_t width, uint16_t blanking_end) {
    for (uint8_t bars = 8; bars != 0; --bars) {
        const uint16_t period = width / bars;
        if ((period <= 127 && 2 * period > blanking_end) ||
            (period > blanking_end && period <= 255)) {
            return static_cast<uint8_t>(period);
        }
    }
    return 120;
}

} // namespace

void set_video_pattern(wire::VideoPattern pattern, const wire::SyncAchieved& plan) {
    const Blanking blanking = blanking_for(plan);
    const uint16_t width =
        static_cast<uint16_t>(2 * plan.half_line_ticks - blanking.end_ticks - blanking.porch_ticks);
    const uint8_t period = bar_period(width, blanking.end_ticks);
    const uint16_t lines = static_cast<uint16_t>(plan.half_lines / 2);
    const uint8_t multiple = period > blanking.end_ticks ? 1 : 2;

    InterruptLock lock;
    GPIOR0 &= static_cast<uint8_t>(~(1 << kPictureDueBit));
    TIMSK3 = 0;
    PORTE &= static_cast<uint8_t>(~kWindowPin);
    TCCR3A = static_cast<uint8_t>(yokedock_tccr3a | (1 << COM3B1));
    TCCR3C = 1 << FOC3B; // closes the window, should it be open
    TCCR3A = yokedock_tccr3a;
    video.pattern = static_cast<uint8_t>(pattern);
    if (pattern == wire::VideoPattern::kBlack) {
        TCCR2B = 0;
        TCCR2A = 0;
        PORTH &= static_cast<uint8_t>(~kPatternPin);
        return;
    }
    video.open = static_cast<uint16_t>(blanking.end_ticks - 1);
    video.width = width;
    video.blanked = blanking.lines;
    video.left = 0; // no picture before the next field start; 0 counts 256 lines, all without
    video.due = 0;
    video.row = 0xFF;
    const bool grid = pattern == wire::VideoPattern::kGrid;
    const bool bars = pattern == wire::VideoPattern::kHorizontalBars;
    const bool flat = pattern == wire::VideoPattern::kFlat;
    constexpr uint8_t white = (1 << WGM21) | (1 << WGM20);
    constexpr uint8_t striped = white | (1 << COM2B1);
    const uint8_t tall = static_cast<uint8_t>((lines - 1 - blanking.lines) / kRowPairs);
    video.rows = 2 * kRowPairs;
    video.kind[0] = {grid ? uint8_t{1} : static_cast<uint8_t>(tall / 2), 1,
                     flat || bars || grid ? white : striped};
    video.kind[1] = {static_cast<uint8_t>(tall - video.kind[0].lines),
                     bars ? uint8_t{0} : uint8_t{1}, flat ? white : striped};
    OCR2A = static_cast<uint8_t>(period - 1);
    OCR2B = grid ? 3 : static_cast<uint8_t>(period / 2 - 1);
    yokedock_picture_period = period;
    yokedock_picture_add =
        static_cast<uint8_t>(kRephaseCycles + multiple * period - blanking.end_ticks);
    TCCR2A = (1 << WGM21) | (1 << WGM20);
    TCCR2B = (1 << WGM22) | (1 << CS20);
    PORTH |= kPatternPin; // the level while timer 2 does not drive the pin: white
}

} // namespace firmware
} // namespace yokedock

/// The window has opened: arms its closing edge, which needs no interrupt. The slot handler arms
/// the next opening.
ISR(TIMER3_COMPB_vect) {
    using namespace yokedock::firmware;
    TIMSK3 = 0;
    OCR3B = static_cast<uint16_t>(OCR3B + video.width);
    TCCR3A = static_cast<uint8_t>(yokedock_tccr3a | (1 << COM3B1)); // clear on match
}
