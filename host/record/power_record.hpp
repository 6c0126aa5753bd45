// SPDX-License-Identifier: MIT
// How the board was powered when a record or a log was made: by whom, what was answered before,
// what was read on the way up, and what ended it.
#pragma once
#include "host/bench/energise.hpp"
#include "host/record/json_reader.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

/// A question of power_questions.hpp as it was answered.
struct PowerAnswerGiven {
    std::string id;
    std::string question;
    std::string answer; ///< "yes", or words
};

/// A trip as a record keeps it: names, not numbers of the protocol.
struct TripRecord {
    std::string cause; ///< name in the table of causes: "supply_current"
    std::string text;  ///< whole sentence, with reading and next step
    std::string stage;
    std::string channel; ///< "" none
    std::optional<double> value;
    std::string unit;
};

struct PowerRecord {
    bool by_bench = false; ///< else the supply is none of the bench's business
    bool nothing_changed = false;
    std::vector<PowerAnswerGiven> answers;
    std::vector<bench::StageReport> stages;
    std::vector<std::string> unguarded; ///< limits that the profile does not state
    std::vector<std::string> notes;
    std::optional<TripRecord> trip;
};

[[nodiscard]] TripRecord trip_record(const bench::Trip& trip);

[[nodiscard]] nlohmann::ordered_json power_to_json(const PowerRecord& power);
[[nodiscard]] PowerRecord power_from_json(const Node& node);

} // namespace yokedock::record
