// SPDX-License-Identifier: MIT
#include "host/cli/power_options.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

using record::PowerAnswerGiven;
using record::PowerQuestion;

constexpr const char* kYes = "yes";
/// Of the swing a good board shows: below, the load carries nothing (common practice, no source).
constexpr double kLostShare = 0.1;

Error usage(std::string text) {
    return {ErrorKind::kUsage, std::move(text)};
}

std::string lower(std::string word) {
    for (char& c : word) {
        c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
    return word;
}

std::string trimmed(const std::string& word) {
    const auto begin = word.find_first_not_of(" \t\r");
    const auto end = word.find_last_not_of(" \t\r");
    return begin == std::string::npos ? "" : word.substr(begin, end + 1 - begin);
}

bool is_yes(const std::string& word) {
    return lower(word) == "yes" || lower(word) == "y";
}

/// Anything but yes keeps the supply off; words are kept as they are.
Result<PowerAnswerGiven> judge(const PowerQuestion& question, const std::string& word) {
    if (question.kind == record::AnswerKind::kYes && !is_yes(word)) {
        return Error{ErrorKind::kRefused,
                     fmt::format("the supply stays off: {} was answered \"{}\", expected yes ({}) "
                                 "put that right, then start again",
                                 question.id, report::printable(word.substr(0, 60)),
                                 question.text)};
    }
    if (word.empty()) {
        return usage(fmt::format("{} was answered with nothing, expected words, or none ({})",
                                 question.id, question.text));
    }
    return PowerAnswerGiven{question.id, question.text,
                            question.kind == record::AnswerKind::kYes ? kYes : word};
}

std::string ids_of(const std::vector<PowerQuestion>& questions) {
    std::string out;
    for (const PowerQuestion& question : questions) {
        out += (out.empty() ? "" : ", ") + question.id;
    }
    return out;
}

bool answered(const PowerPlan& plan, const std::string& id) {
    return std::any_of(plan.answers.begin(), plan.answers.end(),
                       [&](const PowerAnswerGiven& given) { return given.id == id; });
}

Status take_confirmed(const PowerOptions& options, PowerPlan& plan) {
    for (const std::string& each : options.confirm) {
        const auto equals = each.find('=');
        const std::string id = each.substr(0, equals);
        const auto question = std::find_if(plan.questions.begin(), plan.questions.end(),
                                           [&](const PowerQuestion& q) { return q.id == id; });
        if (question == plan.questions.end()) {
            return usage(fmt::format("--confirm {} is no question of this board{}, expected one of "
                                     "{}",
                                     report::printable(id.substr(0, 60)),
                                     options.nothing_changed ? " with --nothing-changed" : "",
                                     ids_of(plan.questions)));
        }
        if (answered(plan, id)) {
            return usage(fmt::format("--confirm {} was given twice, expected one answer", id));
        }
        const bool words = question->kind == record::AnswerKind::kWords;
        if (words && equals == std::string::npos) {
            return usage(fmt::format("--confirm {0} lacks its answer, expected {0}=WORDS, or "
                                     "{0}=none ({1})",
                                     id, question->text));
        }
        Result<PowerAnswerGiven> given =
            judge(*question, equals == std::string::npos ? kYes : trimmed(each.substr(equals + 1)));
        if (!given) {
            return given.error();
        }
        plan.answers.push_back(std::move(given).value());
    }
    return Done{};
}

/// A script must state each by itself: one word for all would be in the script for ever.
Status all_answered(const PowerPlan& plan) {
    std::string open;
    for (const PowerQuestion& question : plan.questions) {
        if (!answered(plan, question.id)) {
            open += fmt::format("\n  --confirm {}{}    {}", question.id,
                                question.kind == record::AnswerKind::kWords ? "=WORDS" : "",
                                question.text);
        }
    }
    return open.empty()
               ? Status(Done{})
               : Status(usage("the supply stays off: nobody can be asked here, expected an answer "
                              "to every question; look at the board, then add each that is so "
                              "(--nothing-changed where nothing was worked on since it last ran):" +
                              open));
}

std::vector<PowerQuestion> questions_of(const record::Profile& profile, bool nothing_changed) {
    std::vector<PowerQuestion> all = record::power_questions(profile);
    if (nothing_changed) {
        // What work can have spoilt needs no word then; what can kill does, every time.
        all.erase(std::remove_if(all.begin(), all.end(),
                                 [](const PowerQuestion& q) { return !record::is_safety(q.id); }),
                  all.end());
    }
    return all;
}

Status check_outside(const PowerOptions& options) {
    if (!options.confirm.empty() || options.nothing_changed) {
        return usage("--confirm and --nothing-changed belong to a supply that the bench switches, "
                     "expected --supply bench with them; leave them out");
    }
    return Done{};
}

Status set_loads(const PowerOptions& options, bench::PowerLimits& limits) {
    const bool both = options.loads == "both";
    limits.vertical_load = both || options.loads == "vertical";
    limits.horizontal_load = both || options.loads == "horizontal";
    if (!limits.vertical_load && !limits.horizontal_load && options.loads != "none") {
        return usage(fmt::format("--loads is \"{}\", expected both, vertical, horizontal or none",
                                 report::printable(options.loads.substr(0, 40))));
    }
    return Done{};
}

} // namespace

void add_power_options(Parser& command, PowerOptions& options) {
    command
        .add_option("--supply", options.supply,
                    "bench: the bench switches the board's supply, guarded by the profile's "
                    "limits; outside: something else does, and nothing protects the board")
        .show_default()
        .group("Power");
    command
        .add_option("--confirm", options.confirm,
                    "answer a question before power-up: ID for yes, ID=WORDS; may be given again")
        .one_value_at_a_time()
        .type_name("ID[=WORDS]")
        .group("Power");
    command
        .add_flag("--nothing-changed", options.nothing_changed,
                  "nothing was worked on since the board last ran: fewer questions")
        .group("Power");
    command
        .add_option("--loads", options.loads,
                    "load relays to close: both, vertical, horizontal or none")
        .show_default()
        .group("Power");
    command
        .add_flag("--allow-silent", options.allow_silent,
                  "leave the supply on when a retrace or a load's current is missing: to find out "
                  "why; all other limits hold")
        .group("Power");
}

std::string not_switched_text(const record::Profile& profile, std::string_view first) {
    std::string names;
    for (const std::string& key : bench::missing_limits(power_limits(profile))) {
        names += (names.empty() ? "limits." : ", limits.") + key;
    }
    return names.empty()
               ? ""
               : report::paragraph(first, "The bench will not switch a supply on by this profile: "
                                          "it must state " +
                                              names +
                                              ". How to choose them: docs/profile.md, Choosing "
                                              "limits.");
}

bench::PowerLimits power_limits(const record::Profile& profile) {
    bench::PowerLimits limits;
#define X(member, needed, without) limits.member = profile.limits.member;
    YOKEDOCK_POWER_LIMITS(X)
#undef X
    const auto share = [&](const char* figure) -> std::optional<double> {
        const auto expected = profile.expected.find(figure);
        return expected == profile.expected.end() || !(expected->second.value > 0)
                   ? std::nullopt
                   : std::optional(kLostShare * expected->second.value);
    };
    limits.v_yoke_least_pp_a = share("v_yoke_pp_a");
    limits.h_yoke_least_pp_a = share("h_yoke_pp_a");
    return limits;
}

Result<PowerPlan> plan_power(const PowerOptions& options,
                             const std::optional<record::Profile>& profile, bool can_ask) {
    PowerPlan plan;
    if (options.supply == "outside") {
        const Status good = check_outside(options);
        return good ? Result<PowerPlan>(plan) : Result<PowerPlan>(good.error());
    }
    if (options.supply != "bench") {
        return usage(fmt::format("--supply is \"{}\", expected bench or outside",
                                 report::printable(options.supply.substr(0, 40))));
    }
    if (!profile) {
        return usage("the bench may not switch the supply on: no profile was given, expected one "
                     "with the board's limits; make one with yokedock profile new --out "
                     "board.profile.json and give it with --profile, or, where the board is "
                     "powered by something that the bench does not switch, say --supply outside");
    }
    plan.by_bench = true;
    plan.nothing_changed = options.nothing_changed;
    bench::PowerLimits limits = power_limits(*profile);
    if (const Status loads = set_loads(options, limits); !loads) {
        return loads.error();
    }
    if (options.allow_silent) {
        limits.v_retrace_missing_ms = limits.h_retrace_missing_ms = std::nullopt;
        limits.v_yoke_least_pp_a = limits.h_yoke_least_pp_a = std::nullopt;
    }
    Result<bench::GuardPlan> guard = bench::plan_guard(limits);
    if (!guard) {
        return guard.error();
    }
    plan.guard = std::move(guard).value();
    plan.supply_idle_max_a = limits.supply_idle_max_a;
    plan.supply_max_v = limits.supply_max_v;
    plan.loads.vertical_ohm = profile->vertical_yoke.resistance_ohm;
    plan.loads.vertical = limits.v_yoke_least_pp_a.has_value();
    plan.loads.horizontal = limits.h_yoke_least_pp_a.has_value();
    plan.questions = questions_of(*profile, options.nothing_changed);
    if (const Status taken = take_confirmed(options, plan); !taken) {
        return taken.error();
    }
    if (!can_ask) {
        if (const Status all = all_answered(plan); !all) {
            return all.error();
        }
    }
    return plan;
}

Status ask_power_questions(PowerPlan& plan, Seams& seams) {
    for (const PowerQuestion& question : plan.questions) {
        if (answered(plan, question.id)) {
            continue;
        }
        seams.err << report::paragraph("", report::printable(question.text)) << "  ["
                  << (question.kind == record::AnswerKind::kYes ? "yes, or anything else: supply "
                                                                  "stays off"
                                                                : "words, or none")
                  << "] > " << std::flush;
        const std::optional<std::string> line =
            seams.stop.stopped() ? std::nullopt : seams.read_line();
        if (!line || seams.stop.stopped()) {
            seams.err << '\n';
            return Error{ErrorKind::kStopped,
                         "stopped before the last question; the supply stays off"};
        }
        const std::string word = trimmed(*line);
        const bool none = word.empty() && question.kind == record::AnswerKind::kWords;
        Result<PowerAnswerGiven> given = judge(question, none ? "none" : word);
        if (!given) {
            return given.error();
        }
        plan.answers.push_back(std::move(given).value());
    }
    return Done{};
}

} // namespace yokedock::cli
