// SPDX-License-Identifier: MIT
// Oscilloscope tables to an Observation.
#pragma once
#include "host/capture/observation.hpp"
#include "host/record/csv.hpp"

namespace yokedock::record {

struct ImportOptions {
    CsvOptions csv;
    double line_rate_hz = 0;  ///< nominal; 0 unknown
    double field_rate_hz = 0; ///< nominal; 0 unknown
    bool interlaced = false;
    double gain_u_relative = 0.02; ///< standard uncertainty of probe, shunt and instrument together
    double clock_u_relative = 50e-6; ///< of the instrument's time base
};

struct Import {
    capture::Observation observation;
    std::vector<std::string> warnings;
};

/// Reads the files; several are put one after the other on the time axis (their triggers have
/// nothing to do with each other), with the time between them marked as not watched. Sync comes
/// from sync_v, retrace pulses from v_out_v and h_out_v, where the steps are fine enough to see
/// them.
[[nodiscard]] Result<Import> import_csv(const std::vector<std::string>& paths,
                                        const ImportOptions& options);

/// The same from tables already read. Pure.
[[nodiscard]] Result<Import> import_tables(std::vector<CsvTable> tables,
                                           const std::vector<std::string>& files,
                                           const ImportOptions& options);

} // namespace yokedock::record
