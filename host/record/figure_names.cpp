// SPDX-License-Identifier: MIT
#include "host/record/figure_names.hpp"
#include "host/analysis/analyse.hpp"
#include "host/record/nearest.hpp"

namespace yokedock::record {

const analysis::FigureSet& known_figures() {
    static const analysis::FigureSet figures = analysis::analyse({}).figures;
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
