// SPDX-License-Identifier: MIT
#include "host/record/record.hpp"

namespace yokedock::record {

capture::Observation observation_of(const Record& record) {
    return record.imported ? record.imported->observation : capture::to_observation(*record.raw);
}

} // namespace yokedock::record
