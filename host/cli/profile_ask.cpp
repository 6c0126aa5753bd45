// SPDX-License-Identifier: MIT
// The dialogue of `profile new`: one question at a time, with unit, range and a default.
#include "host/bench/power_limits.hpp"
#include "host/cli/profile_form.hpp"
#include "host/report/text.hpp"
#include "shared/sync/standards.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

constexpr const char* kLeaveOut = "-";

bool has(const FormWords& words, const std::string& path) {
    return words.count(path) != 0;
}

/// Asking for these only makes sense after that answer.
bool is_wanted(const FormField& field, const FormWords& words) {
    if (field.path == "line_rate_hz" || field.path == "field_rate_hz") {
        return !has(words, "standard");
    }
    if (field.key->key == std::string("visible_to_us")) {
        return has(words, std::string(field.key->object) + ".visible_from_us");
    }
    if (field.path == "yoke.vertical.tolerance_pct") {
        return has(words, "yoke.vertical.inductance_h") ||
               has(words, "yoke.vertical.resistance_ohm");
    }
    if (field.path == "yoke.horizontal.tolerance_pct") {
        return has(words, "yoke.horizontal.inductance_h") ||
               has(words, "yoke.horizontal.resistance_ohm");
    }
    return true;
}

/// Defaults are common practice, no source: heat sink below what hurts plastic packages in the long
/// run, three missed fields, about sixteen missed lines, line rate at most 10 % low. "-" where no
/// number suits every board; yes where yes is the careful answer.
std::string default_word(const FormField& field, const FormWords& words) {
    const record::CheckedProfile now = profile_of(words); // may lack keys yet: rates are 0 then
    const auto rate = [&](bool line) {
        record::Profile bare;
        if (const auto standard = words.find("standard"); standard != words.end()) {
            bare.standard = standard->second;
        }
        if (now.profile) {
            bare = *now.profile;
        }
        return line ? nominal_line_rate_hz(bare) : nominal_field_rate_hz(bare);
    };
    if (field.path == "name") {
        return "";
    }
    if (field.path == "standard") {
        return sync::kStandards[0].name;
    }
    if (field.path == "live_to_mains" || field.path == "own_line_output_transformer") {
        return "yes";
    }
    if (field.path == "limits.heatsink_max_c") {
        return "90";
    }
    if (field.path == "limits.v_retrace_missing_ms" && rate(false) > 0) {
        return fmt::format("{:.0f}", 3000 / rate(false));
    }
    if (field.path == "limits.h_retrace_missing_ms") {
        return "1";
    }
    if (field.path == "limits.line_rate_min_hz" && rate(true) > 0) {
        return fmt::format("{:.0f}", std::max(10000.0, 0.9 * rate(true)));
    }
    if (field.key->key == std::string("tolerance_pct")) {
        return "10";
    }
    return kLeaveOut;
}

bool switches_supply(const FormField& field) {
    for (const std::string& key : bench::missing_limits({})) {
        if (field.path == "limits." + key) {
            return true;
        }
    }
    return false;
}

std::string prompt(const FormField& field, const std::string& standard) {
    std::string range;
    if (field.key->type == record::KeyType::kNumber) {
        range = fmt::format("{:.6g} to {:.6g}{}{}", field.key->least, field.key->most,
                            *field.key->unit == 0 ? "" : " ", field.key->unit);
    } else if (field.key->type == record::KeyType::kFlag) {
        range = "yes or no";
    } else if (field.path == "standard") {
        for (const sync::Standard& row : sync::kStandards) {
            range += (range.empty() ? "" : " ") + std::string(row.name);
        }
        range += ", or - for rates of your own";
    } else {
        range = "text";
    }
    const bool can_go =
        !field.needed && field.path != "line_rate_hz" && field.path != "field_rate_hz";
    return '\n' + report::paragraph("", fmt::format("{}: {}", field.path, field.key->text)) +
           report::paragraph(
               "  ",
               range + (can_go ? ", - to leave it out" : "") +
                   (switches_supply(field) ? "; without it the bench switches no supply on" : "")) +
           (standard.empty() ? "  > " : fmt::format("  [{}] > ", standard));
}

/// One field; asked again until the word fits.
Status ask_field(const FormField& field, FormWords& words, Seams& seams) {
    const std::string standard = default_word(field, words);
    for (;;) {
        seams.err << prompt(field, standard) << std::flush;
        const std::optional<std::string> line =
            seams.stop.stopped() ? std::nullopt : seams.read_line();
        if (!line || seams.stop.stopped()) {
            seams.err << '\n';
            return Error{ErrorKind::kStopped,
                         "stopped before the last question; no profile was written"};
        }
        const auto begin = line->find_first_not_of(" \t\r");
        const auto end = line->find_last_not_of(" \t\r");
        const std::string word =
            begin == std::string::npos ? standard : line->substr(begin, end + 1 - begin);
        const bool rate = field.path == "line_rate_hz" || field.path == "field_rate_hz";
        if (word == kLeaveOut && !rate && (!field.needed || field.path == "standard")) {
            words.erase(field.path);
            return Done{};
        }
        std::string problem = word_problem(field, word);
        if (problem.empty()) {
            words[field.path] = word;
            // A wrong standard is told now, not after thirty more questions.
            for (const record::ProfileMistake& mistake : profile_of(words).mistakes) {
                if (mistake.key == field.path) {
                    problem = mistake.is + ", expected " + mistake.expected;
                }
            }
            if (problem.empty()) {
                return Done{};
            }
            words.erase(field.path);
        }
        seams.err << report::paragraph("  ", report::printable(field.path + " is " + problem));
    }
}

/// Fields that mean nothing without each other.
constexpr const char* kPartners[][2] = {
    {"vertical.visible_from_us", "vertical.visible_to_us"},
    {"horizontal.visible_from_us", "horizontal.visible_to_us"},
    {"limits.soft_start_ms", "limits.soft_start_min_v"},
};

void forget_partner(const std::string& path, FormWords& words) {
    for (const auto& pair : kPartners) {
        if (path == pair[0] || path == pair[1]) {
            words.erase(path == pair[0] ? pair[1] : pair[0]);
        }
    }
}

/// The first field that the reader still finds wrong, and why.
const FormField* misfit(const FormWords& words, std::string& why) {
    for (const record::ProfileMistake& mistake : profile_of(words).mistakes) {
        for (const FormField& field : form_fields()) {
            if (field.path == mistake.key) {
                why = mistake_text(mistake);
                why = why.substr(why.find(": ") + 2); // the line is of no file
                return &field;
            }
        }
    }
    return nullptr;
}

} // namespace

Status ask_form(FormWords& words, Seams& seams) {
    seams.err << report::paragraph(
        "", "Enter alone takes the value in brackets. Ctrl-C stops; nothing is written before the "
            "last answer.");
    for (const FormField& field : form_fields()) {
        if (!has(words, field.path) && is_wanted(field, words)) {
            if (const Status asked = ask_field(field, words, seams); !asked) {
                return asked;
            }
        }
    }
    std::string why;
    while (const FormField* field = misfit(words, why)) {
        seams.err << '\n' << report::paragraph("", report::printable(why));
        words.erase(field->path);
        if (const Status asked = ask_field(*field, words, seams); !asked) {
            return asked;
        }
        if (!has(words, field->path)) {
            forget_partner(field->path, words);
        }
    }
    return Done{};
}

} // namespace yokedock::cli
