// SPDX-License-Identifier: MIT
#include "host/report/diagnosis_report.hpp"
#include "host/report/json.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace yokedock::report {
namespace {

using diagnose::Diagnosis;
using diagnose::Outcome;
using diagnose::Suspect;

constexpr double kLeastShown = 0.02;
constexpr std::size_t kMostShown = 5;
constexpr std::size_t kMostReasons = 4;

std::string percent(double p) {
    if (p > 0.99) {
        return "over 99 %";
    }
    return p < 0.01 ? "below 1 %" : fmt::format("{:.0f} %", 100 * p);
}

std::string designators(const Suspect& s) {
    std::string out;
    for (const std::string& name : s.designators) {
        out += (out.empty() ? "" : ", ") + name;
    }
    return printable(out);
}

std::string headline(const Diagnosis& d) {
    switch (d.outcome) {
    case Outcome::kHealthy:
        return fmt::format("Nothing found: {} figures were judged, and together they look like "
                           "those of a good board ({}).",
                           d.figures_used, percent(d.healthy));
    case Outcome::kSuspect: {
        const Suspect& s = d.suspects.front();
        const std::string parts = designators(s);
        return fmt::format("Suspect: {}{} in section {} ({}).", s.fault->text,
                           parts.empty() ? "" : " (" + parts + ")", s.fault->section,
                           percent(s.probability));
    }
    case Outcome::kSection:
        return fmt::format("Section {} ({}); which part cannot be told from these figures.",
                           d.section, percent(d.section_probability));
    case Outcome::kUnclear:
        if (d.healthy >= 0.5) {
            return "Cannot tell: most of it looks like a good board, but not all; see below.";
        }
        return d.other > 0.5
                   ? std::string("Cannot tell: something is wrong, but no fault of the catalogue "
                                 "fits all of it. Two faults at once look like this, too.")
                   : std::string("Cannot tell: something is wrong, and several faults fit about "
                                 "as well.");
    case Outcome::kNoFigures:
        break;
    }
    if (d.figures_used > 0) {
        return fmt::format("Cannot tell: only {} of what was measured has an expectation, too "
                           "little to call the board good. Measure more channels, or give "
                           "--profile or --reference with what is expected.",
                           d.figures_used == 1 ? "one figure" : "two figures");
    }
    return "Cannot tell: no figure could be set against an expectation. Give --profile with "
           "expected figures, or --reference with a record of a good board.";
}

std::string reasons(const char* word, const std::vector<std::string>& list) {
    std::string out;
    for (std::size_t i = 0; i < list.size() && i < kMostReasons; ++i) {
        out += paragraph(fmt::format("      {:<8} ", i == 0 ? word : ""), printable(list[i]));
    }
    return out;
}

std::string suspects_text(const Diagnosis& d) {
    std::string out;
    std::size_t shown = 0;
    for (const Suspect& s : d.suspects) {
        if (s.probability < kLeastShown || ++shown > kMostShown) {
            break;
        }
        const std::string parts = designators(s);
        out += paragraph(fmt::format("  {}. {:>9}  ", shown, percent(s.probability)),
                         fmt::format("{}: {}{}", s.fault->section, s.fault->text,
                                     parts.empty() ? "" : "; " + parts));
        out += reasons("for", s.speaks_for) + reasons("against", s.speaks_against);
    }
    if (d.other >= kLeastShown) {
        out +=
            fmt::format("     {:>9}  something that is not in the catalogue\n", percent(d.other));
    }
    if (d.healthy >= kLeastShown) {
        out += fmt::format("     {:>9}  a good board\n", percent(d.healthy));
    }
    return out;
}

} // namespace

std::string diagnosis_text(const Diagnosis& d, const std::vector<std::string>& remarks) {
    std::string out = paragraph("", headline(d));
    if (diagnose::accuses(d.outcome)) {
        out += '\n' + suspects_text(d);
        for (std::size_t i = 0; i < d.checks.size() && i < 3; ++i) {
            const auto& next = d.checks[i];
            out += paragraph(i == 0 ? "\nNext check: " : "Then:       ",
                             fmt::format("{} ({:.3g} min, {:.2f} bit)", next.check->text,
                                         next.check->minutes, next.bits));
        }
    }
    std::vector<std::string> all = d.remarks;
    all.insert(all.end(), remarks.begin(), remarks.end());
    if (!all.empty()) {
        out += '\n';
    }
    for (const std::string& remark : all) {
        out += paragraph("- ", printable(remark));
    }
    return out;
}

std::string diagnosis_json(const Diagnosis& d, const std::vector<std::string>& remarks,
                           const std::string& record_file) {
    using Json = nlohmann::ordered_json;
    Json out;
    out["schema"] = kOutputSchema;
    out["command"] = "diagnose";
    out["record"] = record_file;
    out["outcome"] = diagnose::word(d.outcome);
    out["figures_used"] = d.figures_used;
    out["healthy"] = d.healthy;
    out["not_in_catalogue"] = d.other;
    const bool off = diagnose::accuses(d.outcome);
    out["section"] = off ? d.section : "";
    out["section_probability"] = off ? d.section_probability : 0;
    out["suspects"] = Json::array();
    for (const Suspect& s : d.suspects) {
        if (s.probability >= 0.001) {
            out["suspects"].push_back({{"id", s.fault->id},
                                       {"section", s.fault->section},
                                       {"text", s.fault->text},
                                       {"probability", s.probability},
                                       {"designators", s.designators},
                                       {"for", s.speaks_for},
                                       {"against", s.speaks_against},
                                       {"mistaken_for", s.fault->mistaken_for}});
        }
    }
    out["checks"] = Json::array();
    for (const auto& next : d.checks) {
        out["checks"].push_back({{"id", next.check->id},
                                 {"text", next.check->text},
                                 {"minutes", next.check->minutes},
                                 {"bits", next.bits}});
    }
    std::vector<std::string> all = d.remarks;
    all.insert(all.end(), remarks.begin(), remarks.end());
    out["remarks"] = all;
    return out.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

} // namespace yokedock::report
