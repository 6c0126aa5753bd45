// SPDX-License-Identifier: MIT
// The words of a parts list: sections of a board, and what a part does there. One table each; the
// profile's reader, its page and the fault catalogue take their words from here.
#pragma once
#include <cstddef>

namespace yokedock::record {

/// X(id, word in files), in the order of a repair: what others depend on comes first.
#define YOKEDOCK_SECTIONS(X)                                                                       \
    X(kSupply, "supply")                                                                           \
    X(kSync, "sync")                                                                               \
    X(kVerticalOscillator, "vertical oscillator")                                                  \
    X(kRamp, "ramp")                                                                               \
    X(kVerticalOutput, "vertical output")                                                          \
    X(kBoost, "boost")                                                                             \
    X(kVerticalYoke, "vertical yoke")                                                              \
    X(kLineAfc, "line AFC")                                                                        \
    X(kLineOscillator, "line oscillator")                                                          \
    X(kLineDriver, "line driver")                                                                  \
    X(kLineOutput, "line output")                                                                  \
    X(kHorizontalYoke, "horizontal yoke")                                                          \
    X(kThermal, "thermal")

enum class Section {
#define X(id, word) id,
    YOKEDOCK_SECTIONS(X)
#undef X
};

/// What a part's value is a value of; names the key it is written under.
enum class PartQuantity { kNone, kResistance, kCapacitance, kInductance, kVoltage };

/// X(id, key in files, unit, least, most). The ranges catch a slip of the unit's prefix
/// (microfarads written as farads), not unusual parts.
#define YOKEDOCK_PART_QUANTITIES(X)                                                                \
    X(kResistance, "value_ohm", "ohm", 1e-3, 1e9)                                                  \
    X(kCapacitance, "value_f", "F", 1e-13, 0.1)                                                    \
    X(kInductance, "value_h", "H", 1e-7, 100)                                                      \
    X(kVoltage, "value_v", "V", 0.1, 1000)

/// X(id, word in files, quantity of its value). Roles are shared by sections: the pair of section
/// and role tells a part's job.
#define YOKEDOCK_PART_ROLES(X)                                                                     \
    X(kCouplingCapacitor, "coupling capacitor", kCapacitance)                                      \
    X(kBoostCapacitor, "boost capacitor", kCapacitance)                                            \
    X(kTimingCapacitor, "timing capacitor", kCapacitance)                                          \
    X(kUpperRampCapacitor, "upper ramp capacitor", kCapacitance)                                   \
    X(kLowerRampCapacitor, "lower ramp capacitor", kCapacitance)                                   \
    X(kIntegratorCapacitor, "integrator capacitor", kCapacitance)                                  \
    X(kDifferentiatorCapacitor, "differentiator capacitor", kCapacitance)                          \
    X(kShaperCapacitor, "shaper capacitor", kCapacitance)                                          \
    X(kFilterCapacitor, "filter capacitor", kCapacitance)                                          \
    X(kLagCapacitor, "lag capacitor", kCapacitance)                                                \
    X(kRetraceCapacitor, "retrace capacitor", kCapacitance)                                        \
    X(kSCapacitor, "S-capacitor", kCapacitance)                                                    \
    X(kReservoir, "reservoir", kCapacitance)                                                       \
    X(kDecouplingCapacitor, "decoupling capacitor", kCapacitance)                                  \
    X(kHoldControl, "hold control", kResistance)                                                   \
    X(kHeightControl, "height control", kResistance)                                               \
    X(kLinearityControl, "linearity control", kResistance)                                         \
    X(kTimingResistor, "timing resistor", kResistance)                                             \
    X(kChargingResistor, "charging resistor", kResistance)                                         \
    X(kDischargeResistor, "discharge resistor", kResistance)                                       \
    X(kSourceResistor, "source resistor", kResistance)                                             \
    X(kBleedResistor, "bleed resistor", kResistance)                                               \
    X(kIntegratorResistor, "integrator resistor", kResistance)                                     \
    X(kDifferentiatorResistor, "differentiator resistor", kResistance)                             \
    X(kInjectionResistor, "injection resistor", kResistance)                                       \
    X(kInjectionShunt, "injection shunt", kResistance)                                             \
    X(kShaperResistor, "shaper resistor", kResistance)                                             \
    X(kDetectorResistor, "detector resistor", kResistance)                                         \
    X(kLagResistor, "lag resistor", kResistance)                                                   \
    X(kControlResistor, "control resistor", kResistance)                                           \
    X(kSenseResistor, "sense resistor", kResistance)                                               \
    X(kDampingResistor, "damping resistor", kResistance)                                           \
    X(kBoostResistor, "boost resistor", kResistance)                                               \
    X(kFilterResistor, "filter resistor", kResistance)                                             \
    X(kBaseResistor, "base resistor", kResistance)                                                 \
    X(kReferenceDiode, "reference diode", kVoltage)                                                \
    X(kRegulator, "regulator", kVoltage)                                                           \
    X(kLevelDiode, "level diode", kVoltage)                                                        \
    X(kChoke, "choke", kInductance)                                                                \
    X(kYokeCoil, "yoke coil", kInductance)                                                         \
    X(kBoostDiode, "boost diode", kNone)                                                           \
    X(kDetectorDiode, "detector diode", kNone)                                                     \
    X(kDamper, "damper", kNone)                                                                    \
    X(kRectifier, "rectifier", kNone)                                                              \
    X(kClipperTransistor, "clipper transistor", kNone)                                             \
    X(kResetTransistor, "reset transistor", kNone)                                                 \
    X(kOscillatorIc, "oscillator IC", kNone)                                                       \
    X(kOutputIc, "output IC", kNone)                                                               \
    X(kDriverTransistor, "driver transistor", kNone)                                               \
    X(kDriverTransformer, "driver transformer", kNone)                                             \
    X(kOutputTransistor, "output transistor", kNone)                                               \
    X(kLineOutputTransformer, "line output transformer", kNone)                                    \
    X(kMainsTransformer, "mains transformer", kNone)                                               \
    X(kFuse, "fuse", kNone)                                                                        \
    X(kHeatSink, "heat sink", kNone)                                                               \
    X(kConnector, "connector", kNone)                                                              \
    X(kOther, "other", kNone)

enum class PartRole {
#define X(id, word, quantity) id,
    YOKEDOCK_PART_ROLES(X)
#undef X
};

struct SectionRow {
    Section section;
    const char* word;
};
struct RoleRow {
    PartRole role;
    const char* word;
    PartQuantity quantity; ///< kNone: any or none
};
struct QuantityRow {
    PartQuantity quantity;
    const char* key;
    const char* unit;
    double least;
    double most;
};

constexpr SectionRow kSections[] = {
#define X(id, word) {Section::id, word},
    YOKEDOCK_SECTIONS(X)
#undef X
};
constexpr RoleRow kPartRoles[] = {
#define X(id, word, quantity) {PartRole::id, word, PartQuantity::quantity},
    YOKEDOCK_PART_ROLES(X)
#undef X
};
constexpr QuantityRow kPartQuantities[] = {
#define X(id, key, unit, least, most) {PartQuantity::id, key, unit, least, most},
    YOKEDOCK_PART_QUANTITIES(X)
#undef X
};

[[nodiscard]] constexpr const char* word_of(Section section) {
    return kSections[static_cast<std::size_t>(section)].word;
}
[[nodiscard]] constexpr const char* word_of(PartRole role) {
    return kPartRoles[static_cast<std::size_t>(role)].word;
}

} // namespace yokedock::record
