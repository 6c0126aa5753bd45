// SPDX-License-Identifier: MIT
#include "host/cli/profile_boards.hpp"
#include "host/cli/evaluate.hpp"
#include "host/record/record.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

std::string lock_problem(const Board& board) {
    for (const char* name : {"v_locked", "h_locked"}) {
        const analysis::Figure* figure = analysis::find_figure(board.figures, name);
        if (figure == nullptr || figure->status != analysis::FigureStatus::kMeasured) {
            return fmt::format("whether {} is locked was not measured{}",
                               name[0] == 'v' ? "the vertical" : "the horizontal",
                               figure == nullptr ? "" : " (" + figure->reason + ")");
        }
        if (figure->value != 1) {
            return fmt::format("{} was not locked to sync",
                               name[0] == 'v' ? "the vertical" : "the horizontal");
        }
    }
    return {};
}

} // namespace

bool is_standard(const std::string& name) {
    return std::any_of(std::begin(sync::kStandards), std::end(sync::kStandards),
                       [&](const sync::Standard& standard) { return name == standard.name; });
}

Result<Board> load_board(const std::string& file, std::optional<record::Profile>& base) {
    Result<record::Record> loaded = record::load_record(file);
    if (!loaded) {
        return loaded.error();
    }
    const record::Record& record = loaded.value();
    if (!base && record.profile) {
        base = record.profile;
    }
    const capture::Observation observation = record::observation_of(record);
    return Board{file,
                 record.standard,
                 record.complete,
                 record.raw && record.raw->bench.simulated,
                 observation.line_rate_hz,
                 observation.field_rate_hz,
                 evaluate(observation, base).figures};
}

std::vector<std::string> objections(const std::vector<Board>& boards) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < boards.size(); ++i) {
        const Board& board = boards[i];
        if (!board.complete) {
            out.push_back(fmt::format("{} is incomplete: its measurement was cut off", board.file));
        }
        if (const std::string problem = lock_problem(board); !problem.empty()) {
            out.push_back(board.file + ": " + problem);
        }
        if (board.simulated != boards[0].simulated) {
            out.push_back(fmt::format("{} and {}: one is of the simulated bench, one is not",
                                      boards[0].file, board.file));
        }
    }
    return out;
}

Status check_same_kind(const std::vector<Board>& boards,
                       const std::optional<record::Profile>& base) {
    const auto quoted = [](const std::string& standard) {
        return standard.empty() ? std::string("not known") : '"' + standard + '"';
    };
    for (std::size_t i = 0; i < boards.size(); ++i) {
        if (boards[i].standard != boards[0].standard) {
            return Error{ErrorKind::kFile,
                         fmt::format("the standard of {} is {}, that of {} is {}, expected records "
                                     "of one standard; make a profile of each",
                                     boards[0].file, quoted(boards[0].standard), boards[i].file,
                                     quoted(boards[i].standard))};
        }
        for (std::size_t k = 0; k < i; ++k) {
            if (same_readings(boards[k].figures, boards[i].figures)) {
                return Error{
                    ErrorKind::kFile,
                    fmt::format("{} and {} hold the same measurement, expected one record "
                                "per board: twice the same would pass for no spread; leave "
                                "one out",
                                boards[k].file, boards[i].file)};
            }
        }
    }
    if (base && !base->standard.empty() && is_standard(boards[0].standard) &&
        base->standard != boards[0].standard) {
        return Error{ErrorKind::kFile,
                     fmt::format("the profile's standard is \"{}\", that of the records is {}, "
                                 "expected the same; use another profile or other records",
                                 base->standard, quoted(boards[0].standard))};
    }
    return Done{};
}

} // namespace yokedock::cli
