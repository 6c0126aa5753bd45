// SPDX-License-Identifier: MIT
// The ADC of the ATmega2560 in place of simavr's, whose only automatic trigger is free running.
// Single-ended inputs ADC0 to ADC7; single conversions, free running, and triggered by Timer1
// compare B or overflow.
//
// Times (data sheet, "ADC Conversion Time"): the input is held 1.5 ADC clocks after a started
// conversion and 2 after a trigger, whose event also resets the prescaler; results come after 13
// and 13.5 clocks; the first conversion after ADEN holds at 13.5 and takes 25. A trigger during a
// conversion is ignored. The three CPU cycles of trigger synchronisation that the data sheet
// mentions are not modelled.
#pragma once
#include "demo/virtual_bench/chip/event_queue.hpp"
#include <simavr/avr_adc.h>
#include <string>

namespace yokedock::sim {

class AdcClient {
  public:
    virtual int adc_input(std::uint8_t channel, Cycle at) = 0;
    virtual void not_modelled(const std::string& what) = 0;

  protected:
    ~AdcClient() = default;
};

enum class AdcTrigger : std::uint8_t { kFreeRunning = 0, kTimer1CompareB = 5, kTimer1Overflow = 6 };

class AdcModel {
  public:
    AdcModel(avr_t* avr, avr_adc_t* port, EventQueue& queue, AdcClient& client);
    AdcModel(const AdcModel&) = delete;
    AdcModel& operator=(const AdcModel&) = delete;

    void reset();
    void trigger(AdcTrigger source, Cycle at); ///< the source's flag rose

    std::uint64_t conversions() const { return conversions_; }
    std::uint64_t triggers_ignored() const { return triggers_ignored_; }
    std::uint64_t results_lost() const { return results_lost_; }

  private:
    void write_control_a(avr_io_addr_t address, std::uint8_t value);
    std::uint8_t read_low(avr_io_addr_t address);
    std::uint8_t read_high(avr_io_addr_t address);
    void start(Cycle at, bool triggered);
    static void on_sample(void* self, Cycle at);
    static void on_done(void* self, Cycle at);
    void done(Cycle at);
    std::uint8_t control_a() const { return avr_->data[port_->r_adcsra]; }
    AdcTrigger trigger_source() const;

    avr_t* avr_;
    avr_adc_t* port_;
    EventQueue& queue_;
    AdcClient& client_;
    bool converting_ = false;
    bool first_ = true;        ///< no conversion since ADEN
    bool locked_ = false;      ///< ADCL was read, ADCH not yet: results are dropped
    std::uint8_t channel_ = 0; ///< latched at the start
    int held_ = 0;
    std::uint16_t result_ = 0; ///< as the registers show it, ADLAR applied
    std::uint64_t conversions_ = 0;
    std::uint64_t triggers_ignored_ = 0;
    std::uint64_t results_lost_ = 0;
};

} // namespace yokedock::sim
