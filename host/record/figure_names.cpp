// SPDX-License-Identifier: MIT
#include "host/record/figure_names.hpp"
#include "host/analysis/analyse.hpp"
#include "host/lock/sweep_figures.hpp"
#include "host/record/nearest.hpp"

namespace yokedock::record {

namespace {

analysis::FigureSet all_figures() {
    analysis::FigureSet figures = analysis::analyse({}).figures;
    for (const lock::SweepAxis axis : {lock::SweepAxis::kVertical, lock::SweepAxis::kHorizontal}) {
        lock::SweepSummary none;
        none.settings.axis = axis;
        const analysis::FigureSet swept = lock::sweep_figures(none);
        figures.insert(figures.end(), swept.begin(), swept.end());
    }
    return figures;
}

} // namespace

const analysis::FigureSet& known_figures() {
    static const analysis::FigureSet figures = all_figures();
    return figures;
}

std::string nearest_figure_name(const std::string& misspelt) {
    std::vector<std::string> names;
    for (const analysis::Figure& figure : known_figures()) {
        names.push_back(figure.name);
    }
    return nearest_word(misspelt, names);
}

} // namespace yokedock::record
