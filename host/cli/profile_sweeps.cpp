// SPDX-License-Identifier: MIT
#include "host/cli/profile_sweeps.hpp"
#include "host/cli/evaluate.hpp"
#include "host/lock/sweep_figures.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

constexpr lock::SweepAxis kAxes[] = {lock::SweepAxis::kVertical, lock::SweepAxis::kHorizontal};

bool same_sweep(const SweptBoard& a, const SweptBoard& b) {
    return std::any_of(std::begin(kAxes), std::end(kAxes), [&](lock::SweepAxis axis) {
        const auto x = sweep_figures_of(a, axis);
        const auto y = sweep_figures_of(b, axis);
        const bool any = x && std::any_of(x->begin(), x->end(), [](const analysis::Figure& f) {
                             return f.status == analysis::FigureStatus::kMeasured;
                         });
        return any && y && same_readings(*x, *y);
    });
}

} // namespace

Result<std::vector<SweptBoard>> load_sweeps(const std::vector<std::string>& files,
                                            const Board& board, Seams& seams) {
    const SweptSync sync{board.file, board.standard, board.line_rate_hz, board.field_rate_hz};
    std::vector<SweptBoard> all;
    for (const std::string& file : files) {
        Result<SweptBoard> swept = load_swept_board(file, seams);
        if (!swept) {
            return swept.error();
        }
        if (const Status same = check_swept_sync(swept.value(), sync); !same) {
            return same.error();
        }
        for (const SweptBoard& other : all) {
            if (same_sweep(other, swept.value())) {
                return Error{ErrorKind::kFile,
                             fmt::format("{} and {} hold the same sweep, expected one log per "
                                         "board: twice the same would pass for no spread; leave "
                                         "one out",
                                         other.file, file)};
            }
        }
        all.push_back(std::move(swept).value());
    }
    return all;
}

std::vector<std::string> sweep_objections(const std::vector<SweptBoard>& swept,
                                          const Board& board) {
    std::vector<std::string> out;
    for (const SweptBoard& one : swept) {
        for (const lock::SweepSummary& s : one.sweeps) {
            const char* axis =
                s.settings.axis == lock::SweepAxis::kVertical ? "vertical" : "horizontal";
            if (!s.complete) {
                out.push_back(fmt::format("{}: the {} sweep was cut off", one.file, axis));
            } else if (!s.locks_at_nominal) {
                out.push_back(
                    fmt::format("{}: the {} does not lock at the set rate", one.file, axis));
            }
        }
        if (one.simulated != board.simulated) {
            out.push_back(fmt::format("{} and {}: one is of the simulated bench, one is not",
                                      board.file, one.file));
        }
    }
    return out;
}

void learn_sweeps(const std::vector<SweptBoard>& swept, const std::optional<record::Profile>& base,
                  record::Profile& profile, record::Learned& learned) {
    for (const lock::SweepAxis axis : kAxes) {
        std::vector<analysis::FigureSet> boards;
        for (const SweptBoard& one : swept) {
            if (auto figures = sweep_figures_of(one, axis)) {
                boards.push_back(std::move(*figures));
            }
        }
        if (boards.empty()) {
            lock::SweepSummary none;
            none.settings.axis = axis;
            for (const analysis::Figure& figure : lock::sweep_figures(none)) {
                if (base && base->expected.count(figure.name) > 0) {
                    profile.expected[figure.name] = base->expected.at(figure.name);
                }
            }
            continue;
        }
        const record::Learned of_axis = record::learn_expected(boards);
        profile.expected.insert(of_axis.expected.begin(), of_axis.expected.end());
        learned.left_out.insert(learned.left_out.end(), of_axis.left_out.begin(),
                                of_axis.left_out.end());
    }
}

} // namespace yokedock::cli
