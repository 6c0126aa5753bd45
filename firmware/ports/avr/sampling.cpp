// SPDX-License-Identifier: MIT
// The converter, triggered by timer 1 compare B. A result is only told when its trigger's time is certain.
//
// The trigger flag is cleared here, after the channel for the next trigger was set: the data sheet names that moment as
// safe for changing it ("Changing Channel or Reference Selection").
#pragma GCC optimize("O2")
#include "firmware/ports/avr/sampling.hpp"
#include "firmware/ports/avr/save_registers.hpp"

namespace yokedock {
namespace firmware {

uint8_t adcsra_armed; ///< as it is while results are wanted
uint8_t adcsra_quiet; ///< the same without the interrupt

namespace {

bool nothing_on_the_way() {
    InterruptLock lock;
    return !sampler.on_the_way();
}
} // namespace

void start_sampling(const wire::CaptureSettings& settings, uint16_t line_ticks) {
    if (settings.entries == 0) {
        return;
    }
    const uint8_t prescale = settings.adc_prescale_log2;
    sampler.configure(settings, line_ticks, conversion_ticks(prescale));
    ADCSRA = 0;
    ADMUX = static_cast<uint8_t>((1 << REFS0) | settings.schedule[0].channel);
    adcsra_quiet = static_cast<uint8_t>((1 << ADEN) | (1 << ADATE) | prescale);
    adcsra_armed = static_cast<uint8_t>(adcsra_quiet | (1 << ADIE));
    // The first conversion after switching on takes 25 converter clocks: one for nothing, by hand. Its interrupt
    // finds sampling off.
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
        ADCSRA = adcsra_armed;
    }
    sampler.enable(true);
}

void recover_sampling() {
    InterruptLock lock;
    if (sampler.enabled() != 0 && sampler.recover(TCNT4)) {
        TIFR1 = 1 << OCF1B;
        pool.break_samples();
    }
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

/// Shuts only itself out and opens interrupts at once, without touching a flag: the slot handler must not wait for
/// the rest.
ISR(ADC_vect, ISR_NAKED) {
    asm volatile("push r24           \n\t"
                 "lds  r24, %[quiet] \n\t"
                 "sts  %[adcsra], r24 \n\t"
                 "sei                \n\t" YOKEDOCK_SAVE_FOR_CALL
                 "call yokedock_conversion \n\t" YOKEDOCK_RESTORE_AFTER_CALL
                 "pop  r24           \n\t"
                 "reti               \n\t" ::[quiet] "i"(&yokedock::firmware::adcsra_quiet),
                 [adcsra] "n"(_SFR_MEM_ADDR(ADCSRA)));
}

/// Returns with interrupts off.
extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_conversion() {
    using namespace yokedock::firmware;
    cli(); // the slot handler plans meanwhile, and timer 4's high byte is shared
    Trigger trigger;
    const bool good = sampler.take(TCNT4, trigger);
    uint8_t channel;
    if (sampler.next_channel(channel)) {
        ADMUX = static_cast<uint8_t>((1 << REFS0) | channel);
    }
    TIFR1 = 1 << OCF1B;
    sei();
    if (sampler.enabled() != 0 || good) {
        const uint16_t code = ADC;
        if (good) {
            pool.push_sample(trigger.time_low, code, trigger.channel, [](uint16_t low) {
                InterruptLock lock;
                return tick_from_low(low);
            });
        } else {
            pool.break_samples();
        }
        sampler.refill();
    }
    cli();
    ADCSRA = adcsra_armed;
}
