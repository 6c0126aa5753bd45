// SPDX-License-Identifier: MIT
#include "tests/bench/matrix/cases.hpp"
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "host/record/evidence.hpp"
#include "host/record/profile_learn.hpp"
#include "tests/bench/matrix/hold_range.hpp"
#include <algorithm>

namespace yokedock::matrix {
namespace {

struct Plan {
    const char* name;
    const char* file;
    const char* standard;
    bool training;
    std::vector<const char*> settings; ///< on top of the file
};

/// Designs to learn on and designs to report on. The second kind differ in rail, yokes, values of
/// the output stages, capacitors, standard; all invented.
std::vector<Plan> plans() {
    return {
        {"24 V, 525 lines", "quillwood13.json", "525/59.94", true, {}},
        {"24 V, 525 lines, low-ohm vertical yoke",
         "quillwood13.json",
         "525/59.94",
         true,
         {"vertical_yoke.inductance_h=0.009", "vertical_yoke.resistance_ohm=4.5",
          "vertical_output.sense_ohm=0.68", "vertical_output.coupling_f=2200e-6",
          "ramp.height_ohm=80e3", "line_yoke.inductance_h=250e-6", "line_output.retrace_f=56e-9",
          "line_output.s_f=10e-6"}},
        {"16 V, 625 lines",
         "quillwood13_50hz.json",
         "625/50",
         true,
         {"supply.regulated_v=16", "supply.transformer_ratio=0.135", "supply.reservoir_f=4700e-6",
          "vertical_yoke.inductance_h=0.012", "vertical_yoke.resistance_ohm=6",
          "vertical_output.coupling_f=1500e-6", "vertical_output.boost_f=150e-6",
          "bench.field_threshold_v=14", "line_yoke.inductance_h=150e-6",
          "line_yoke.resistance_ohm=0.2", "line_output.retrace_f=82e-9", "line_output.s_f=16e-6",
          "bench.line_threshold_v=40"}},
        {"24 V, 625 lines", "quillwood13_50hz.json", "625/50", false, {}},
        {"12 V, 525 lines",
         "quillwood13.json",
         "525/59.94",
         false,
         {"supply.regulated_v=12",
          "supply.transformer_ratio=0.115",
          "supply.reservoir_f=6800e-6",
          "supply.other_load_ohm=40",
          "vertical_yoke.inductance_h=0.006",
          "vertical_yoke.resistance_ohm=4",
          "vertical_output.coupling_f=2200e-6",
          "vertical_output.boost_f=220e-6",
          "ramp.height_ohm=120e3",
          "vertical_output.damping_ohm=220",
          "bench.field_threshold_v=10.5",
          "line_yoke.inductance_h=90e-6",
          "line_yoke.resistance_ohm=0.12",
          "line_output.choke_h=1.5e-3",
          "line_output.choke_ohm=0.3",
          "line_output.retrace_f=140e-9",
          "line_output.s_f=28e-6",
          "line_output.load_ohm=500",
          "line_afc.retrace_ratio=0.2",
          "bench.line_threshold_v=30"}},
    };
}

wire::SyncSettings sync_of(const Design& design) {
    return *sim::find_standard(design.standard.c_str());
}

analysis::FigureSet measure(const diagnose::Catalogue& catalogue, const Design& design,
                            const sim::FaultyBoard& faulty, std::uint32_t seed) {
    const wire::SyncSettings sync = sync_of(design);
    const sim::BoardParameters warm = sim::warmed_up(faulty.parameters, sync);
    sim::ModelBenchOptions options;
    options.sync = sync;
    options.seconds = sim::kQuickSeconds;
    options.seed = seed;
    options.live = faulty.live;
    options.warm_up_s = faulty.live.empty() ? 0 : 1800;
    options.free_run_s = 0.4;
    const auto window = [](const record::ProfileAxis& axis) {
        return axis.visible_us
                   ? analysis::SyncWindow{axis.visible_us->from * 1e-6, axis.visible_us->to * 1e-6}
                   : analysis::SyncWindow{};
    };
    options.analysis.vertical_window = window(design.profile.vertical);
    options.analysis.horizontal_window = window(design.profile.horizontal);
    const sim::ModelMeasurement m = sim::run_model_bench(warm, options);
    analysis::FigureSet all = m.result.figures;
    for (const char* axis : {"v", "h"}) {
        const std::string from = std::string(axis) + "_rate_hz";
        if (const analysis::Figure* rate = analysis::find_figure(m.free_run.figures, from)) {
            all.push_back(*rate);
            all.back().name = std::string(axis) + "_free_rate_hz";
        }
    }
    if (faulty.live.empty()) { // the rig knows steady boards only
        for (const sim::LockAxis axis : {sim::LockAxis::kField, sim::LockAxis::kLine}) {
            const auto range = hold_range(warm, sync, axis);
            all.insert(all.end(), range.begin(), range.end());
        }
    }
    return record::evidence_from(catalogue, all, capture::to_observation(m.raw), design.profile,
                                 nullptr)
        .figures;
}

} // namespace

Result<std::vector<Design>> load_designs(const std::string& folder) {
    std::vector<Design> out;
    for (const Plan& plan : plans()) {
        const auto file = sim::load_board(folder + "/" + plan.file);
        if (!file) {
            return file.error();
        }
        Design design{plan.name, plan.standard, plan.training, file.value().parameters, {}};
        for (const char* setting : plan.settings) {
            if (const Status set = sim::apply_setting(design.board, setting); !set) {
                return set.error();
            }
        }
        design.profile.name = plan.name;
        design.profile.standard = plan.standard;
        // Visible: from after the blanking to before the next; both standards' usual extents.
        const bool lines625 = design.standard == "625/50";
        design.profile.vertical.visible_us =
            record::ProfileAxis::Visible{lines625 ? 1500.0 : 1300.0, lines625 ? 19800.0 : 16500.0};
        design.profile.horizontal.visible_us = record::ProfileAxis::Visible{9.2, 62};
        out.push_back(std::move(design));
    }
    return out;
}

void learn_profile(const diagnose::Catalogue& catalogue, Design& design) {
    std::vector<analysis::FigureSet> boards;
    for (std::uint32_t k = 1; k <= kProfileBoards; ++k) {
        sim::FaultyBoard good;
        good.parameters = sim::scatter(design.board, kProfileSeeds + k);
        boards.push_back(measure(catalogue, design, good, kProfileSeeds + k));
    }
    design.profile.expected = record::learn_expected(boards).expected;
    // Learning leaves the heat sink out, since it depends on how long a board ran. Here all ran
    // until they were warm: stated as somebody would who looked, to 20 % for other rooms.
    double sum = 0;
    for (const analysis::FigureSet& figures : boards) {
        sum += analysis::find_figure(figures, "heatsink_c")->value;
    }
    record::ExpectedFigure sink;
    sink.value = sum / static_cast<double>(boards.size());
    sink.tolerance = 0.2 * sink.value;
    design.profile.expected["heatsink_c"] = sink;
    // As evidence_from() has it where no profile says otherwise.
    record::ExpectedFigure level;
    level.value = 0.52 * design.profile.expected["supply_v"].value;
    level.tolerance = 0.16 * design.profile.expected["supply_v"].value;
    design.profile.expected["v_out_level_v"] = level;
}

Result<Case> measure_case(const diagnose::Catalogue& catalogue, const Design& design,
                          const std::string& fault, double severity, std::uint32_t seed) {
    sim::FaultyBoard board;
    board.parameters = sim::scatter(design.board, seed);
    if (!fault.empty()) {
        const auto use = sim::use_fault(fault, severity);
        if (!use) {
            return use.error();
        }
        if (const Status fits = sim::fit_fault(board, use.value()); !fits) {
            return fits.error();
        }
    }
    return Case{design.name, fault, severity, seed, measure(catalogue, design, board, seed)};
}

} // namespace yokedock::matrix
