// SPDX-License-Identifier: MIT
// A bench's own scales and clock, as measured against a meter, a known source or the host's clock:
// what turns nominal scales into calibrated ones. Pure. The device keeps it (shared/wire,
// Calibration); record/calibration_file keeps the points it came from.
#pragma once
#include "host/capture/raw_capture.hpp"
#include "host/result.hpp"
#include <array>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::capture {

/// A value with its standard uncertainty, in the same unit.
struct Stated {
    double value = 0;
    double u = 0;
};

struct Calibration {
    struct ChannelResult {
        Stated gain{1, 0}; ///< true gain / nominal gain
        Stated zero_v;     ///< true zero less nominal zero, V at the converter's input
    };
    std::uint32_t serial = 0; ///< of the bench
    std::uint32_t date_s = 0; ///< seconds since 1970-01-01 UTC
    std::array<std::optional<ChannelResult>, kChannelCount> channels;
    std::optional<Stated> clock_relative;  ///< true clock rate / nominal - 1
    std::optional<Stated> adc_reference_v; ///< true reference of the converter
    std::optional<Stated> trigger_delay_s; ///< true aperture less the one the device tells

    [[nodiscard]] bool any() const;
};

/// One setting of a known source, or one reading of a meter, beside what the bench read.
struct CalibrationPoint {
    ChannelId channel{};
    Stated truth; ///< in the channel's unit
    Stated volts; ///< mean at the converter's input, by the nominal reference; u of the mean,
                  ///< quantisation included
    std::string time_utc;
};

/// Volts at the converter's input, by the nominal reference, that the nominal front end makes of a
/// quantity.
[[nodiscard]] double nominal_volts(ChannelId channel, double quantity);

/// The channel's gain and zero from its points (others are passed over), by least squares with the
/// errors of both sides in the weights; u grows with the scatter where that is larger than was
/// stated. One point: the zero when it stands within a hundredth of full scale of 0, else the gain,
/// and the other keeps its nominal uncertainty. Points less than a tenth of full scale apart count
/// as one. adc_reference_v: taken off, where it was calibrated. Errors (kUsage): no point of this
/// channel; a gain beyond 0.5 to 2 or a zero beyond 0.5 V, which is a wrong unit, a wrong plug or a
/// reading of something else.
[[nodiscard]] Result<Calibration::ChannelResult>
fit_channel(ChannelId channel, const std::vector<CalibrationPoint>& points,
            const std::optional<Stated>& adc_reference_v);

/// Device time against host time: begin and end of the comparison.
struct ClockReading {
    double host_s = 0;      ///< in the middle of question and answer
    double half_trip_s = 0; ///< half the time between them: host_s is not off by more
    std::int64_t ticks = 0; ///< of the device, continued beyond 32 bits
};
/// clock_hz: nominal. host_u_relative: standard uncertainty of the host's own clock. Readings are
/// taken as evenly likely within their half trip. Error (kUsage) when the two are less than 5 s
/// apart.
[[nodiscard]] Result<Stated> fit_clock(const ClockReading& begin, const ClockReading& end,
                                       double clock_hz, double host_u_relative);

/// The nominal scale corrected by what was calibrated.
[[nodiscard]] ChannelScale calibrated_scale(ChannelId channel, const Calibration& calibration);

/// Scales, clock and date of the bench from now on; without anything calibrated, nominal ones.
void apply(const Calibration& calibration, BenchInfo& bench);

/// As the device keeps it. Error (kUsage) names a figure that does not fit its field.
[[nodiscard]] Result<wire::Calibration> to_wire(const Calibration& calibration);
[[nodiscard]] Calibration from_wire(const wire::Calibration& stored);

} // namespace yokedock::capture
