// SPDX-License-Identifier: MIT
// The converter, triggered by timer 1 compare B. A result is only told when its trigger's time is
// certain.
//
// The channel for the next trigger is set, and then the trigger flag cleared, at once when a
// conversion has ended: the data sheet names that moment as safe for changing it ("Changing Channel
// or Reference Selection"). A trigger that finds the flag still set is lost.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/sampling.hpp"
#include "firmware/ports/avr/serial.hpp"

namespace yokedock {
namespace firmware {

uint8_t adcsra_armed; ///< as it is while results are wanted
uint8_t adcsra_quiet; ///< the same without the interrupt

uint8_t admux_next; ///< channel of the turn after the oldest

uint16_t result_time; ///< low half of the tick at which the handler found the last result

namespace {

/// K1 and K2 open; the main loop does the rest.
void open_supply() {
    YOKEDOCK_RELAY_PORT &= static_cast<uint8_t>(~(kRelaySupply | kRelayBypass));
}

bool nothing_on_the_way() {
    InterruptLock lock;
    return !sampler.on_the_way();
}

/// For the oldest turn, and the one after it.
void choose_channels() {
    uint8_t channel;
    sampler.next_channel(channel);
    ADMUX = static_cast<uint8_t>((1 << REFS0) | channel);
    admux_next = static_cast<uint8_t>((1 << REFS0) | sampler.following_channel());
}
} // namespace

void start_sampling(const wire::CaptureSettings& settings, uint16_t line_ticks, bool other_work) {
    if (settings.entries == 0) {
        return;
    }
    const uint8_t prescale = settings.adc_prescale_log2;
    sampler.configure(settings, line_ticks, conversion_ticks(prescale),
                      trigger_spacing(conversion_ticks(prescale), line_ticks, other_work));
    ADCSRA = 0;
    ADMUX = static_cast<uint8_t>((1 << REFS0) |
                                 (settings.schedule[0].channel & wire::kScheduleChannelMask));
    adcsra_quiet = static_cast<uint8_t>((1 << ADEN) | (1 << ADATE) | prescale);
    adcsra_armed = static_cast<uint8_t>(adcsra_quiet | (1 << ADIE));
    // The first conversion after switching on takes 25 converter clocks: one for nothing, by hand.
    // Its interrupt finds sampling off.
    const uint8_t single = static_cast<uint8_t>((1 << ADEN) | (1 << ADIE) | prescale);
    ADCSRA = single;
    ADCSRA = static_cast<uint8_t>(single | (1 << ADSC));
    while ((ADCSRA & (1 << ADSC)) != 0) {
    }
    ADCSRB = 5; // trigger: timer 1 compare B
    {
        InterruptLock lock;
        OCR1B = kNoCompare;
        TIFR1 = 1 << OCF1B;
        choose_channels();
        ADCSRA = adcsra_armed;
    }
    sampler.enable(true);
}

void recover_sampling() {
    uint16_t now_low;
    {
        InterruptLock lock;
        now_low = TCNT4;
    }
    // The conversion handler is shut out for certainty only: it has little time to spare.
    if (sampler.enabled() == 0 || !sampler.stuck(now_low)) {
        return;
    }
    ADCSRA = adcsra_quiet;
    {
        InterruptLock lock;
        now_low = TCNT4;
    }
    if (sampler.recover(now_low)) {
        ADCSRA =
            static_cast<uint8_t>(adcsra_quiet | (1 << ADIF)); // a result that waits has no trigger
        choose_channels();
        TIFR1 = 1 << OCF1B;
        pool.break_samples();
    }
    ADCSRA = adcsra_armed;
}

uint16_t convert_once(uint8_t channel) {
    // The first conversion after switching on takes longer, and the multiplexer settles meanwhile.
    constexpr uint8_t kSlowest = 7;
    const uint8_t single = static_cast<uint8_t>((1 << ADEN) | kSlowest);
    ADMUX = static_cast<uint8_t>((1 << REFS0) | channel);
    uint16_t code = 0;
    for (uint8_t i = 0; i < 2; ++i) {
        ADCSRA = static_cast<uint8_t>(single | (1 << ADSC));
        while ((ADCSRA & (1 << ADSC)) != 0) {
        }
        code = ADC;
    }
    ADCSRA = 0;
    return code;
}

void stop_sampling() {
    {
        InterruptLock lock;
        sampler.enable(false);
        OCR1B = kNoCompare;
    }
    // What is planned or converting still comes: two slots and one conversion at the most.
    uint16_t waited = 0;
    while (!nothing_on_the_way() && ++waited < 2000) {
    }
    InterruptLock lock;
    ADCSRA = 0;
    TIFR1 = 1 << OCF1B;
}

} // namespace firmware
} // namespace yokedock

/// A reading outside its limits.
extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_bad_reading(uint8_t channel, uint16_t code) {
    using namespace yokedock::firmware;
    if (guard.bad(channel, code)) {
        open_supply();
    }
}

/// take(), push_sample() and refill() in full: wherever the handler below finds something out of
/// the common.
extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_take_result(uint16_t code) {
    using namespace yokedock::firmware;
    Trigger trigger;
    const bool good = sampler.take(result_time, trigger);
    if (good && guard.path.watching != 0 && guard.reading(trigger.channel, code)) {
        open_supply();
    }
    if (good && trigger.quiet != 0) {
        return;
    }
    if (good) {
        pool.push_sample(trigger.time_low, code, trigger.channel, [](uint16_t low) {
            InterruptLock lock;
            return tick_from_low(low);
        });
        return;
    }
    // Out of step: the channel chosen when the conversion ended may be another turn's.
    uint8_t channel;
    if (sampler.next_channel(
            channel)) { // after take(): should the slot handler plan now, it sets the channel too
        ADMUX = static_cast<uint8_t>((1 << REFS0) | channel);
        if ((TIFR1 & (1 << OCF1B)) != 0) {
            sampler.distrust();
        }
    }
    if (static_cast<uint16_t>(result_time - pool.path.sample.last_low) > 0x8000u) {
        pool.break_samples(); // soon the low half would no longer tell the distance
    }
}

extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_open_samples(uint16_t time_low) {
    using namespace yokedock::firmware;
    pool.open_samples(time_low, [](uint16_t low) {
        InterruptLock lock;
        return tick_from_low(low);
    });
}

extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_refill() {
    if (yokedock::firmware::sampler.enabled() != 0) {
        yokedock::firmware::sampler.refill();
    }
}

/// Shuts only itself out and opens interrupts at once: the slot handler must not wait for the rest.
/// By hand, for it runs once per line:
///   part 1  Sampler::take() of the oldest turn, Guard::reading() of its code, and
///           BlockPool::push_sample()          r18 taken, X its time, r20 its channel, r21 quiet
///   part 2  Sampler::prepare()                r19 prepared, X turn, Z entry
ISR(ADC_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile(
        "push r24             \n\t"
        "push r25             \n\t"
        "lds  r24, %[quiet]   \n\t"
        "sts  %[adcsra], r24  \n\t"
        "lds  r24, %[tcnt4]   \n\t"
        "lds  r25, %[tcnt4]+1 \n\t"
        "push r22             \n\t"
        "push r23             \n\t"
        "lds  r22, %[adc]     \n\t"
        "lds  r23, %[adc]+1   \n\t"
        "push r30             \n\t"
        "in   r30, __SREG__   \n\t"
        "push r31             \n\t"
        "lds  r31, %[muxnext] \n\t"
        "sts  %[admux], r31   \n\t"
        "ldi  r31, %[ocf]     \n\t"
        "out  %[tifr1], r31   \n\t"
        "sei                  \n\t"
        "sts  %[time], r24    \n\t"
        "sts  %[time]+1, r25  \n\t"
        "push r30             \n\t"
        "push r26             \n\t"
        "push r27             \n\t"
        "push r18             \n\t"
        "push r19             \n\t"
        "push r20             \n\t"
        "push r21             \n\t"
        "lds  r18, %[taken]   \n\t"
        "lds  r19, %[planned] \n\t"
        "cp   r18, r19        \n\t"
        "brne 55f             \n\t"
        "54: rjmp 10f         \n\t"
        "55:                  \n\t"
        "mov  r30, r18        \n\t"
        "andi r30, 0x18       \n\t"
        "ldi  r31, 0          \n\t"
        "subi r30, lo8(-(%[turn])) \n\t"
        "sbci r31, hi8(-(%[turn])) \n\t"
        "ldd  r26, Z+2        \n\t"
        "ldd  r27, Z+3        \n\t"
        "sub  r24, r26        \n\t" // age, less the least it can be
        "sbc  r25, r27        \n\t"
        "lds  r19, %[soonest] \n\t"
        "sub  r24, r19        \n\t"
        "lds  r19, %[soonest]+1 \n\t"
        "sbc  r25, r19        \n\t"
        "subi r24, lo8(%[window]) \n\t"
        "sbci r25, hi8(%[window]) \n\t"
        "brcc 54b             \n\t"
        "ldd  r20, Z+5        \n\t" // channel
        "sbic %[notes], %[watching] \n\t"
        "rjmp 57f             \n\t" // the guard looks at it first
        "53:                  \n\t"
        "lds  r21, %[left]    \n\t"
        "tst  r21             \n\t"
        "breq 9f              \n\t"
        "lds  r24, %[last]    \n\t"
        "lds  r25, %[last]+1  \n\t"
        "movw r30, r26        \n\t"
        "sub  r30, r24        \n\t"
        "sbc  r31, r25        \n\t"
        "lds  r24, %[age]     \n\t"
        "lds  r25, %[age]+1   \n\t"
        "lds  r19, %[age]+2   \n\t"
        "add  r24, r30        \n\t"
        "adc  r25, r31        \n\t"
        "brcc 1f              \n\t"
        "inc  r19             \n\t"
        "1: cpi r19, 8        \n\t"
        "brsh 8f              \n\t"
        "rjmp 11f             \n\t"
        "8: rjmp 10f          \n\t"
        "9: lds r20, %[free]  \n\t" // no block open and none free: the word is lost, at little cost
        "lds  r24, %[block]+1 \n\t"
        "or   r20, r24        \n\t"
        "brne 7f              \n\t"
        "rjmp 12f             \n\t"
        "7:                   \n\t"
        "push r0              \n\t"
        "push r1              \n\t"
        "push r18             \n\t"
        "push r22             \n\t"
        "push r23             \n\t"
        "push r26             \n\t"
        "push r27             \n\t"
        "clr  r1              \n\t"
        "movw r24, r26        \n\t"
        "call yokedock_open_samples \n\t"
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "pop  r23             \n\t"
        "pop  r22             \n\t"
        "pop  r18             \n\t"
        "pop  r1              \n\t"
        "pop  r0              \n\t"
        "lds  r21, %[left]    \n\t"
        "tst  r21             \n\t"
        "breq 14f             \n\t"
        "mov  r30, r18        \n\t"
        "andi r30, 0x18       \n\t"
        "ldi  r31, 0          \n\t"
        "subi r30, lo8(-(%[turn])) \n\t"
        "sbci r31, hi8(-(%[turn])) \n\t"
        "ldd  r20, Z+5        \n\t"
        "ldi  r24, 0          \n\t" // its age: the block begins with it
        "ldi  r25, 0          \n\t"
        "ldi  r19, 0          \n\t"
        "rjmp 11f             \n\t"
        "10: push r0          \n\t"
        "push r1              \n\t"
        "clr  r1              \n\t"
        "movw r24, r22        \n\t"
        "call yokedock_take_result \n\t"
        "pop  r1              \n\t"
        "pop  r0              \n\t"
        "lds  r18, %[taken]   \n\t"
        "rjmp 15f             \n\t"
        "12: lds r30, %[dropped]   \n\t"
        "lds  r31, %[dropped]+1 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[dropped], r30 \n\t"
        "sts  %[dropped]+1, r31 \n\t"
        "brne 13f             \n\t"
        "lds  r30, %[dropped]+2 \n\t"
        "lds  r31, %[dropped]+3 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[dropped]+2, r30 \n\t"
        "sts  %[dropped]+3, r31 \n\t"
        "13: ldi r30, 1       \n\t"
        "sts  %[gap], r30     \n\t"
        "rjmp 14f             \n\t"
        "11:                  \n\t" ::[quiet] "i"(&adcsra_quiet),
        [adc] "n"(_SFR_MEM_ADDR(ADC)), [muxnext] "i"(&admux_next),
        [admux] "n"(_SFR_MEM_ADDR(ADMUX)), [ocf] "M"(1 << OCF1B), [tifr1] "I"(_SFR_IO_ADDR(TIFR1)),
        [time] "i"(&result_time), [adcsra] "n"(_SFR_MEM_ADDR(ADCSRA)),
        [tcnt4] "n"(_SFR_MEM_ADDR(TCNT4)), [taken] "i"(&sampler.path.taken),
        [planned] "i"(&sampler.path.planned), [turn] "i"(sampler.path.turn),
        [soonest] "i"(&sampler.path.soonest), [window] "n"(kResultWindowTicks),
        [left] "i"(&pool.path.writer[0].left), [last] "i"(&pool.path.sample.last_low),
        [notes] "I"(_SFR_IO_ADDR(GPIOR0)), [watching] "I"(kWatchingBit),
        [age] "i"(&pool.path.sample.age_low), [free] "i"(&pool.path.free_count),
        [block] "i"(&pool.path.writer[0].block), [dropped] "i"(&pool.path.writer[0].dropped),
        [gap] "i"(&pool.path.writer[0].gap));
    asm volatile("sts  %[last], r26    \n\t"
                 "sts  %[last]+1, r27  \n\t"
                 "sts  %[age], r24     \n\t"
                 "sts  %[age]+1, r25   \n\t"
                 "sts  %[age]+2, r19   \n\t"
                 "14: subi r18, -%[turnsize] \n\t"
                 "sts  %[taken], r18   \n\t" // before looking at planned: see sole_channel()
                 "tst  r21             \n\t"
                 "breq 15f             \n\t" // a lost word
                 "lds  r26, %[at]      \n\t"
                 "lds  r27, %[at]+1    \n\t"
                 "st   X+, r22         \n\t" // code | channel << 10 | age << 13
                 "lsl  r20             \n\t"
                 "lsl  r20             \n\t"
                 "or   r20, r23        \n\t"
                 "ldi  r31, 0          \n\t"
                 "lsr  r19             \n\t"
                 "ror  r25             \n\t"
                 "ror  r24             \n\t"
                 "ror  r31             \n\t"
                 "lsr  r19             \n\t"
                 "ror  r25             \n\t"
                 "ror  r24             \n\t"
                 "ror  r31             \n\t"
                 "lsr  r19             \n\t"
                 "ror  r25             \n\t"
                 "ror  r24             \n\t"
                 "ror  r31             \n\t"
                 "or   r20, r31        \n\t"
                 "st   X+, r20         \n\t"
                 "st   X+, r24         \n\t"
                 "st   X+, r25         \n\t"
                 "sts  %[at], r26      \n\t"
                 "sts  %[at]+1, r27    \n\t"
                 "dec  r21             \n\t"
                 "sts  %[left], r21    \n\t"
                 "15:                  \n\t"
                 "cli                  \n\t" YOKEDOCK_PUMP
                 "sei                  \n\t" ::[last] "i"(&pool.path.sample.last_low),
                 [age] "i"(&pool.path.sample.age_low), [taken] "i"(&sampler.path.taken),
                 [turnsize] "n"(Sampler::kTurn), [at] "i"(&pool.path.writer[0].at),
                 [left] "i"(&pool.path.writer[0].left), YOKEDOCK_PUMP_OPERANDS);
    asm volatile(
        "lds  r19, %[prepared] \n\t"
        "mov  r30, r19        \n\t"
        "sub  r30, r18        \n\t"
        "cpi  r30, 3 * %[turnsize] \n\t"
        "breq 3f              \n\t"
        "4: rjmp 20f          \n\t"
        "3:                   \n\t"
        "mov  r26, r19        \n\t"
        "andi r26, 0x18       \n\t"
        "ldi  r27, 0          \n\t"
        "subi r26, lo8(-(%[turn])) \n\t"
        "sbci r27, hi8(-(%[turn])) \n\t"
        "lds  r30, %[entry]   \n\t"
        "lds  r31, %[entry]+1 \n\t"
        "ld   r24, Z          \n\t" // place
        "ldd  r25, Z+1        \n\t"
        "lds  r20, %[least]   \n\t"
        "lds  r21, %[least]+1 \n\t"
        "cp   r24, r20        \n\t"
        "cpc  r25, r21        \n\t"
        "ldi  r18, 0          \n\t" // lines to skip
        "brge 34f             \n\t"
        "lds  r22, %[line]    \n\t"
        "lds  r23, %[line]+1  \n\t"
        "add  r22, r24        \n\t"
        "adc  r23, r25        \n\t"
        "cp   r22, r20        \n\t"
        "cpc  r23, r21        \n\t"
        "brlt 4b              \n\t"
        "ldi  r18, 1          \n\t"
        "34: st X+, r24       \n\t"
        "st   X+, r25         \n\t"
        "adiw r26, 2          \n\t"
        "st   X+, r18         \n\t" // skip
        "ldd  r20, Z+10       \n\t" // channel
        "st   X+, r20         \n\t"
        "ldd  r20, Z+11       \n\t" // quiet
        "st   X, r20          \n\t"
        "lds  r20, %[wait]    \n\t"
        "lds  r21, %[wait]+1  \n\t"
        "add  r20, r24        \n\t"
        "adc  r21, r25        \n\t"
        "sts  %[least], r20   \n\t"
        "sts  %[least]+1, r21 \n\t"
        "ldd  r20, Z+2        \n\t" // last
        "ldd  r21, Z+3        \n\t"
        "cp   r24, r20        \n\t"
        "cpc  r25, r21        \n\t"
        "brne 33f             \n\t"
        "ldd  r24, Z+6        \n\t" // first
        "ldd  r25, Z+7        \n\t"
        "rjmp 32f             \n\t"
        "33: ldd r20, Z+4     \n\t" // step
        "ldd  r21, Z+5        \n\t"
        "add  r24, r20        \n\t"
        "adc  r25, r21        \n\t"
        "32: st Z, r24        \n\t"
        "std  Z+1, r25        \n\t"
        "ldd  r24, Z+8        \n\t" // next entry
        "ldd  r25, Z+9        \n\t"
        "sts  %[entry], r24   \n\t"
        "sts  %[entry]+1, r25 \n\t"
        "subi r19, -%[turnsize] \n\t"
        "sts  %[prepared], r19 \n\t"
        "30: lds r30, %[taken]   \n\t" // Sampler::following_channel()
        "subi r30, -%[turnsize] \n\t"
        "andi r30, 0x18       \n\t"
        "ldi  r31, 0          \n\t"
        "subi r30, lo8(-(%[turn])) \n\t"
        "sbci r31, hi8(-(%[turn])) \n\t"
        "ldd  r30, Z+5        \n\t"
        "ori  r30, %[refs]    \n\t"
        "sts  %[muxnext], r30 \n\t"
        "cli                  \n\t" YOKEDOCK_PUMP
        "sei                  \n\t" // the slot handler must not wait for all of the rest
        "pop  r21             \n\t"
        "pop  r20             \n\t"
        "pop  r19             \n\t"
        "pop  r18             \n\t"
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "lds  r24, %[armed]   \n\t"
        "cli                  \n\t" // a result that waits must not nest
        "sts  %[adcsra], r24  \n\t"
        "pop  r30             \n\t"
        "out  __SREG__, r30   \n\t"
        "pop  r31             \n\t"
        "pop  r30             \n\t"
        "pop  r23             \n\t"
        "pop  r22             \n\t"
        "pop  r25             \n\t"
        "pop  r24             \n\t"
        "reti                 \n\t"
        "20: push r0          \n\t"
        "push r1              \n\t"
        "clr  r1              \n\t"
        "call yokedock_refill \n\t"
        "pop  r1              \n\t"
        "pop  r0              \n\t"
        "rjmp 30b             \n\t"
        // Guard::reading(), out of the way of who samples without a guard.
        "57: ldd r21, Z+6     \n\t" // quiet
        "mov  r30, r20        \n\t"
        "swap r30             \n\t" // times 16
        "ldi  r31, 0          \n\t"
        "subi r30, lo8(-(%[reading])) \n\t"
        "sbci r31, hi8(-(%[reading])) \n\t"
        "ld   r24, Z          \n\t" // low
        "ldd  r25, Z+1        \n\t"
        "cp   r22, r24        \n\t"
        "cpc  r23, r25        \n\t"
        "brlo 50f             \n\t"
        "ldd  r24, Z+2        \n\t" // high
        "ldd  r25, Z+3        \n\t"
        "cp   r24, r22        \n\t"
        "cpc  r25, r23        \n\t"
        "brlo 50f             \n\t"
        "std  Z+4, r22        \n\t" // last
        "std  Z+5, r23        \n\t"
        "ldi  r19, 0          \n\t"
        "std  Z+10, r19       \n\t" // strikes
        "cpi  r20, %[spans]   \n\t"
        "brsh 52f             \n\t"
        "ldd  r19, Z+11       \n\t" // count
        "inc  r19             \n\t"
        "breq 56f             \n\t" // it stands still at 255
        "std  Z+11, r19       \n\t"
        "56: ldd r24, Z+6     \n\t" // least
        "ldd  r25, Z+7        \n\t"
        "cp   r22, r24        \n\t"
        "cpc  r23, r25        \n\t"
        "brsh 51f             \n\t"
        "std  Z+6, r22        \n\t"
        "std  Z+7, r23        \n\t"
        "51: ldd r24, Z+8     \n\t" // most
        "ldd  r25, Z+9        \n\t"
        "cp   r24, r22        \n\t"
        "cpc  r25, r23        \n\t"
        "brsh 52f             \n\t"
        "std  Z+8, r22        \n\t"
        "std  Z+9, r23        \n\t"
        "52:                  \n\t"
        "tst  r21             \n\t"
        "breq 58f             \n\t"
        "ldi  r21, 0          \n\t" // not sent
        "rjmp 14b             \n\t"
        "50:                  \n\t"
        "push r0              \n\t"
        "push r1              \n\t"
        "push r18             \n\t"
        "push r20             \n\t"
        "push r21             \n\t"
        "push r22             \n\t"
        "push r23             \n\t"
        "push r26             \n\t"
        "push r27             \n\t"
        "clr  r1              \n\t"
        "mov  r24, r20        \n\t"
        "call yokedock_bad_reading \n\t"
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "pop  r23             \n\t"
        "pop  r22             \n\t"
        "pop  r21             \n\t"
        "pop  r20             \n\t"
        "pop  r18             \n\t"
        "pop  r1              \n\t"
        "pop  r0              \n\t"
        "rjmp 52b             \n\t"
        "58: rjmp 53b         \n\t" ::[prepared] "i"(&sampler.path.prepared),
        [turn] "i"(sampler.path.turn), [turnsize] "n"(Sampler::kTurn),
        [entry] "i"(&sampler.path.at), [taken] "i"(&sampler.path.taken), [refs] "M"(1 << REFS0),
        [muxnext] "i"(&admux_next), [least] "i"(&sampler.path.least),
        [line] "i"(&sampler.path.line_ticks), [wait] "i"(&sampler.path.wait),
        [armed] "i"(&adcsra_armed), [adcsra] "n"(_SFR_MEM_ADDR(ADCSRA)),
        [reading] "i"(guard.path.reading), [spans] "M"(Guard::kSpanChannels),
        YOKEDOCK_PUMP_OPERANDS);
}
