// SPDX-License-Identifier: MIT
// Boards for the matrix of faults: several designs, each built from parts of their tolerance, with
// and without a fault, and what the bench reads of them. Thresholds of the diagnosis are set on the
// training designs and seeds and reported on others.
#pragma once
#include "demo/virtual_bench/board/board_model.hpp"
#include "demo/virtual_bench/board/faults.hpp"
#include "host/analysis/figure.hpp"
#include "host/diagnose/catalogue.hpp"
#include "host/record/profile.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::matrix {

struct Design {
    std::string name;
    std::string standard;
    bool training = false;
    sim::BoardParameters board;
    record::Profile profile; ///< windows, and what good boards of the design show
};

/// One board, measured.
struct Case {
    std::string design;
    std::string fault; ///< "": a good board
    double severity = 0;
    std::uint32_t seed = 0;      ///< of its parts, the bench and the noise
    analysis::FigureSet figures; ///< all, and the facts that diagnose::add_facts makes
};

/// The designs without expectations. Board files are read from `folder`.
[[nodiscard]] Result<std::vector<Design>> load_designs(const std::string& folder);

/// Good boards whose spread makes a profile: seeds of their own.
constexpr std::uint32_t kProfileSeeds = 900000;
constexpr std::uint32_t kProfileBoards = 12;

/// Learns what to expect from kProfileBoards good boards.
void learn_profile(const diagnose::Catalogue& catalogue, Design& design);

/// Builds, warms up and measures one board: a measurement with sync, one without, and how far its
/// lock can be pulled. Errors: no such fault, or one that does not fit.
[[nodiscard]] Result<Case> measure_case(const diagnose::Catalogue& catalogue, const Design& design,
                                        const std::string& fault, double severity,
                                        std::uint32_t seed);

} // namespace yokedock::matrix
