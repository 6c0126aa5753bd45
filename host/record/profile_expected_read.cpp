// SPDX-License-Identifier: MIT
#include "host/record/figure_names.hpp"
#include "host/record/power_questions.hpp"
#include "host/record/profile_read.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <set>

namespace yokedock::record {
namespace {

constexpr std::size_t kMostFigures = 1000;
constexpr std::size_t kMostQuestions = 50;

ExpectationBasis basis_from(const KeyedObject& in) {
    const std::string word = in.text("basis").value_or("stated");
    if (word == "default") {
        return ExpectationBasis::kDefault;
    }
    if (word == "spread") {
        return ExpectationBasis::kSpread;
    }
    if (word != "stated") {
        in.place("basis").complain(in.place("basis").in_words(), "stated, default or spread");
    }
    return ExpectationBasis::kStated;
}

ExpectedFigure figure_from_json(const Node& node, const KeyedObject& in) {
    ExpectedFigure figure;
    figure.value = in.number("value").value_or(0);
    const auto absolute = in.number("tolerance");
    const auto percent = in.number("tolerance_pct");
    const bool has_absolute = in.child("tolerance").has_value();
    const bool has_percent = in.child("tolerance_pct").has_value();
    if (node.is_object() && has_absolute == has_percent) {
        node.complain(has_absolute ? "given both tolerance and tolerance_pct"
                                   : "without a tolerance",
                      "one of tolerance (in the figure's unit) and tolerance_pct");
    }
    if (percent && in.child("value") && figure.value == 0) {
        in.place("tolerance_pct")
            .complain("a share of 0", "tolerance, in the figure's unit, where the value is 0");
    }
    figure.tolerance_is_pct = has_percent;
    figure.tolerance = has_percent ? percent.value_or(0) : absolute.value_or(0);
    figure.basis = basis_from(in);
    if (const auto boards = in.number("boards")) {
        if (*boards != std::floor(*boards)) {
            in.place("boards").complain(in.place("boards").in_words(), "a whole number");
        }
        figure.boards = static_cast<int>(*boards);
    }
    figure.spread = in.number("spread");
    return figure;
}

bool is_question_id(const std::string& id) {
    return !id.empty() && id.size() <= 40 && std::all_of(id.begin(), id.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_';
    });
}

} // namespace

double ExpectedFigure::half_width() const {
    return tolerance_is_pct ? std::abs(value) * tolerance / 100 : tolerance;
}

std::map<std::string, ExpectedFigure> expected_from_json(const KeyedObject& root) {
    std::map<std::string, ExpectedFigure> out;
    const auto all = root.child("expected");
    if (!all) {
        return out;
    }
    for (const auto& [name, node] : all->members(kMostFigures)) {
        if (analysis::find_figure(known_figures(), name) == nullptr) {
            const std::string near = nearest_figure_name(name);
            node.complain("no figure of the analysis",
                          near.empty() ? "a name that yokedock analyse --json prints, or a lock "
                                         "sweep's: v_ or h_ with free_rate_hz, hold_below_pct, "
                                         "hold_above_pct, pull_in_share_pct"
                                       : near + " perhaps; yokedock analyse --json prints all "
                                                "names but a lock sweep's");
        }
        out[name] = figure_from_json(node, KeyedObject(node, "expected.FIGURE", root.schema()));
    }
    return out;
}

std::vector<ProfileQuestion> questions_from_json(const KeyedObject& root) {
    std::vector<ProfileQuestion> out;
    std::set<std::string> taken;
    for (const BuiltInQuestion& question : kPowerQuestions) {
        taken.insert(question.id);
    }
    for (const Node& node : root.list("questions", kMostQuestions)) {
        const KeyedObject in(node, "questions[]", root.schema());
        const std::string id = in.text("id").value_or("");
        if (!id.empty() && !is_question_id(id)) {
            in.place("id").complain(in.place("id").in_words(),
                                    "1 to 40 small letters, digits and _");
        } else if (!id.empty() && !taken.insert(id).second) {
            in.place("id").complain(in.place("id").in_words() + ", which is taken",
                                    "an id that neither another question nor a built-in one has");
        }
        out.push_back({id, in.text("text").value_or("")});
    }
    return out;
}

} // namespace yokedock::record
