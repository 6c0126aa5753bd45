// SPDX-License-Identifier: MIT
// The converter, triggered by timer 1 compare B. A result is only told when its trigger's time is certain.
//
// The trigger flag is cleared here, after the channel for the next trigger was set: the data sheet names that moment as
// safe for changing it ("Changing Channel or Reference Selection").
#pragma GCC optimize("O2")
#include "firmware/ports/avr/sampling.hpp"

namespace yokedock {
namespace firmware {

namespace {
uint8_t adcsra_armed; ///< as it is while results are wanted
uint8_t adcsra_quiet; ///< the same without the interrupt

bool nothing_on_the_way() {
    InterruptLock lock;
    return sampler.empty();
}
} // namespace

void start_sampling(const wire::CaptureSettings& settings) {
    if (settings.entries == 0) {
        return;
    }
    const uint8_t prescale = settings.adc_prescale_log2;
    sampler.configure(settings, conversion_ticks(prescale));
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

void stop_sampling() {
    sampler.enable(false);
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

ISR(ADC_vect) {
    using namespace yokedock::firmware;
    const uint16_t code = ADC;
    const uint16_t now_low = TCNT4;
    if (sampler.empty()) {
        TIFR1 = 1 << OCF1B;
        if (sampler.enabled() != 0) {
            sampler.drop_late();
        }
        return;
    }
    const Trigger trigger = sampler.oldest();
    sampler.take();
    if (!sampler.empty()) {
        ADMUX = static_cast<uint8_t>((1 << REFS0) | sampler.oldest().channel);
    }
    TIFR1 = 1 << OCF1B;
    ADCSRA = adcsra_quiet; // only this handler is shut out from here on
    sei();
    if (sampler.age_is_right(now_low, trigger.time)) {
        pool.push_sample(trigger.time, code, trigger.channel);
        cli();
    } else {
        cli();
        sampler.drop_late();
    }
    ADCSRA = adcsra_armed;
}
