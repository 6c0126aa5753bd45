// SPDX-License-Identifier: MIT
#include "host/report/profile_report.hpp"
#include "host/record/figure_names.hpp"
#include "host/record/power_questions.hpp"
#include "host/report/text.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using record::Profile;

constexpr std::size_t kNameColumn = 24;

std::string yes_no(const std::optional<bool>& flag) {
    return flag ? (*flag ? "yes" : "no") : "not stated: treated as yes";
}

std::string row(const std::string& name, const std::string& value, const std::string& text) {
    return paragraph(fmt::format("  {:<{}} {:<14} ", name, kNameColumn, value), text);
}

/// "22 mH": with the prefix a parts list has.
std::string engineering(double value, const std::string& unit) {
    constexpr struct {
        double factor;
        const char* prefix;
    } kPrefixes[] = {{1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "u"}, {1e-9, "n"}};
    for (const auto& step : kPrefixes) {
        if (std::abs(value) >= step.factor * 0.99999) {
            return fmt::format("{:.5g} {}{}", value / step.factor, step.prefix, unit);
        }
    }
    return fmt::format("{:.5g} p{}", value / 1e-12, unit);
}

std::string axis_text(const std::string& name, const record::ProfileAxis& axis) {
    const std::string window = axis.visible_us
                                   ? fmt::format("{:.6g} to {:.6g} us after sync",
                                                 axis.visible_us->from, axis.visible_us->to)
                                   : std::string("not stated: 5 to 95 % of the trace");
    return paragraph(fmt::format("  {:<{}} ", name + " visible", kNameColumn),
                     window + (axis.intended_s_q > 0
                                   ? fmt::format("; intended S: q = {:.4g}", axis.intended_s_q)
                                   : ""));
}

std::string limits_text(const Profile& profile) {
    std::string out;
#define X(key, unit, least, most, text)                                                            \
    if (profile.limits.key) {                                                                      \
        out += row(#key, fmt::format("{:.6g} {}", *profile.limits.key, unit), text);               \
    }
    YOKEDOCK_PROFILE_LIMITS(X)
#undef X
    return out.empty() ? "  none stated\n" : out;
}

std::string coil_text(const std::string& name, const record::ProfileCoil& coil) {
    if (!coil.inductance_h && !coil.resistance_ohm) {
        return fmt::format("  {:<{}} not stated\n", name, kNameColumn);
    }
    return fmt::format(
        "  {:<{}} {}, {}, each +- {:.3g} %\n", name, kNameColumn,
        coil.inductance_h ? engineering(*coil.inductance_h, "H") : "inductance not stated",
        coil.resistance_ohm ? engineering(*coil.resistance_ohm, "ohm") : "resistance not stated",
        coil.tolerance_pct);
}

std::string part_text(const record::ProfilePart& part) {
    std::string words = word_of(part.role);
    for (const record::QuantityRow& quantity : record::kPartQuantities) {
        if (part.quantity == quantity.quantity) {
            words += ", " + engineering(part.value, quantity.unit);
        }
    }
    if (part.tolerance_pct) {
        words += fmt::format(" +- {:.3g} %", *part.tolerance_pct);
    }
    const auto add = [&](const std::optional<double>& rating, const char* unit) {
        if (rating) {
            words += fmt::format(", {:.4g} {}", *rating, unit);
        }
    };
    words += part.type.empty() ? "" : ", " + part.type;
    add(part.rating_v, "V");
    add(part.rating_a, "A");
    add(part.rating_w, "W");
    add(part.rating_c, "degC");
    for (const std::string& date : part.replaced_on) {
        words += ", replaced " + date;
    }
    return words + (part.note.empty() ? "" : "; " + part.note);
}

std::string parts_text(const Profile& profile) {
    std::string out;
    for (const record::SectionRow& section : record::kSections) {
        std::string here;
        for (const record::ProfilePart& part : profile.parts) {
            if (part.section == section.section) {
                here += paragraph(fmt::format("    {:<8} ", part.designator),
                                  printable(part_text(part)));
            }
        }
        out += here.empty() ? "" : fmt::format("  {}\n", section.word) + here;
    }
    return out.empty() ? "  none listed\n" : out;
}

std::string basis_text(const record::ExpectedFigure& figure) {
    switch (figure.basis) {
    case record::ExpectationBasis::kDefault:
        return figure.boards > 0 ? fmt::format("default tolerance, {} board", figure.boards)
                                 : "default tolerance";
    case record::ExpectationBasis::kSpread:
        return fmt::format("spread {:.3g} of {} boards", figure.spread.value_or(0), figure.boards);
    case record::ExpectationBasis::kStated:
        break;
    }
    return "stated";
}

} // namespace

std::string expected_table(const Profile& profile) {
    std::string out;
    for (const analysis::Figure& known : record::known_figures()) {
        const auto found = profile.expected.find(known.name);
        if (found == profile.expected.end()) {
            continue;
        }
        const record::ExpectedFigure& figure = found->second;
        const double half = figure.half_width();
        out += fmt::format("  {:<{}} {:>34}  {}\n", known.name, kNameColumn + 2,
                           half > 0 ? quantity_text(figure.value, half, known.unit)
                                    : fmt::format("{:.6g} exactly", figure.value),
                           basis_text(figure));
    }
    return out;
}

std::string unguarded_text(const Profile& profile) {
    std::string names;
#define X(key, unit, least, most, text)                                                            \
    if (!profile.limits.key) {                                                                     \
        names += (names.empty() ? "" : ", ") + std::string(#key);                                  \
    }
    YOKEDOCK_PROFILE_LIMITS(X)
#undef X
    return names.empty() ? "" : paragraph("", "Not stated, so not guarded: " + names + ".");
}

std::string profile_heading(const Profile& profile) {
    std::string out = paragraph("Profile ", printable(profile.name));
    if (profile.simulated) {
        out += "SIMULATED BENCH: the expected figures say nothing about real hardware.\n";
    }
    out += paragraph(fmt::format("  {:<{}} ", "sync", kNameColumn),
                     fmt::format("{}line {:.9g} Hz, field {:.7g} Hz",
                                 profile.standard.empty() ? "" : printable(profile.standard) + ", ",
                                 nominal_line_rate_hz(profile), nominal_field_rate_hz(profile)));
    out +=
        fmt::format("  {:<{}} {}\n", "live to mains", kNameColumn, yes_no(profile.live_to_mains));
    out += fmt::format("  {:<{}} {}\n", "own line output tr.", kNameColumn,
                       yes_no(profile.own_line_output_transformer));
    return out;
}

std::string profile_report(const Profile& profile) {
    std::string out = profile_heading(profile);
    out += axis_text("vertical", profile.vertical) + axis_text("horizontal", profile.horizontal);
    out += "\nLimits\n" + limits_text(profile) + unguarded_text(profile);
    out += "\nYoke\n" + coil_text("vertical", profile.vertical_yoke) +
           coil_text("horizontal", profile.horizontal_yoke);
    const std::string expected = expected_table(profile);
    out += "\nExpected figures (+- is the tolerance, no standard uncertainty)\n" +
           (expected.empty() ? "  none\n" : expected);
    out += "\nAsked before the first power-up after work\n";
    for (const record::PowerQuestion& question : record::power_questions(profile)) {
        out +=
            paragraph(fmt::format("  {:<{}} ", question.id, kNameColumn), printable(question.text));
    }
    out += "\nParts\n" + parts_text(profile);
    if (!profile.notes.empty()) {
        out += "\nNotes\n";
        for (const std::string& note : profile.notes) {
            out += paragraph("  * ", printable(note));
        }
    }
    return out;
}

} // namespace yokedock::report
