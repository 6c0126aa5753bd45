// SPDX-License-Identifier: MIT
// `check`: the loads before the board gets power.
#include "host/analysis/load_verdict.hpp"
#include "host/capture/measurement.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/check_load.hpp"
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/power_up.hpp"
#include "host/record/coil_file.hpp"
#include "host/record/figures_json.hpp"
#include "host/record/json_text.hpp"
#include "host/record/profile.hpp"
#include "host/report/calibration_report.hpp"
#include "host/report/json.hpp"
#include "host/report/table.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <filesystem>
#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <ostream>

namespace yokedock::cli {
namespace {

using analysis::LoadJudgement;
using analysis::LoadStep;
using analysis::LoadVerdict;

struct CheckCommand {
    std::string bench;
    std::string load = "both";
    std::string profile_file;
    std::string learn_file;
    std::string learned_file;
    double drive_v = 12;
    double drive_u_v = 0.25;
    double drive_ohm = 10.15;
    double drive_u_ohm = 0.15;
    bool simulated = false;
    bool json = false;
    bool quiet_cautions = false;
};

struct Checked {
    bool horizontal = false;
    LoadStep step;
    LoadJudgement judgement;
};

/// What the load is compared with, read before any bench is spoken to.
struct Known {
    std::optional<record::Profile> profile;
    std::optional<record::CoilFile> learned;
    record::CoilFile learning; ///< --learn: the file as it is so far
};

Error usage(std::string text) {
    return {ErrorKind::kUsage, std::move(text)};
}

Result<Known> prepare(const CheckCommand& o) {
    if (o.load != "vertical" && o.load != "horizontal" && o.load != "both") {
        return usage(
            fmt::format("--load is \"{}\", expected vertical, horizontal or both", o.load));
    }
    if (!(o.drive_v >= 3 && o.drive_v <= 30 && o.drive_u_v > 0 && o.drive_ohm >= 1 &&
          o.drive_ohm <= 1000 && o.drive_u_ohm > 0)) {
        return usage("the step drive must have 3 to 30 V and 1 to 1000 ohm, with uncertainties of "
                     "more than 0");
    }
    Known known;
    auto profile = load_given_profile(o.profile_file);
    if (!profile) {
        return profile.error();
    }
    known.profile = std::move(profile).value();
    if (!o.learned_file.empty()) {
        auto learned = record::load_coils(o.learned_file);
        if (!learned) {
            return learned.error();
        }
        known.learned = std::move(learned).value();
    }
    if (!o.learn_file.empty() && std::filesystem::exists(o.learn_file)) {
        auto learning = record::load_coils(o.learn_file);
        if (!learning) {
            return learning.error();
        }
        known.learning = std::move(learning).value();
    }
    return known;
}

analysis::ExpectedCoil coil_of(const record::ProfileCoil& coil) {
    return {coil.inductance_h, coil.resistance_ohm, coil.tolerance_pct};
}

analysis::LoadExpectation expectation(const Known& known, bool horizontal) {
    analysis::LoadExpectation e;
    if (horizontal) {
        std::swap(e.output, e.other);
    }
    if (known.profile) {
        const auto vertical = coil_of(known.profile->vertical_yoke);
        const auto line = coil_of(known.profile->horizontal_yoke);
        e.coil = horizontal ? line : vertical;
        e.other_coil = horizontal ? vertical : line;
    }
    if (known.learned) {
        const auto& load = horizontal ? known.learned->horizontal : known.learned->vertical;
        if (load) {
            e.learned = load->coil;
        }
    }
    return e;
}

Result<Checked> check_load(bench::Bench& bench, const capture::BenchInfo& info,
                           const CheckCommand& o, const Known& known, bool horizontal,
                           Seams& seams) {
    const analysis::StepDrive source{o.drive_v, o.drive_u_v, o.drive_ohm, o.drive_u_ohm};
    const auto samples = sample_load(bench, info, source, horizontal, [&](const std::string& text) {
        seams.err << text << '\n' << std::flush;
    });
    if (!samples) {
        return samples.error();
    }
    Checked checked;
    checked.horizontal = horizontal;
    checked.step = analysis::measure_load_step(samples.value(), source);
    checked.judgement = analysis::judge_load(checked.step, expectation(known, horizontal));
    return checked;
}

analysis::FigureSet figures_of(const LoadStep& step) {
    return {step.resistance, step.inductance, step.time_constant, step.fast_inductance,
            step.current};
}

std::string as_text(const std::vector<Checked>& all, const capture::BenchInfo& info) {
    std::string out = report::paragraph("", report::calibration_words(info));
    if (info.simulated) {
        out += "SIMULATED BENCH: these figures say nothing about real hardware.\n";
    }
    for (const Checked& checked : all) {
        out += fmt::format("\n{} load: {}\n", checked.horizontal ? "Horizontal" : "Vertical",
                           analysis::word(checked.judgement.verdict));
        out += report::paragraph("  ", report::printable(checked.judgement.reason));
        if (checked.step.ok) {
            out += report::figure_rows(figures_of(checked.step));
        }
        for (const std::string& step : checked.judgement.next_steps) {
            out += report::paragraph("  * ", report::printable(step));
        }
        for (const std::string& note : checked.judgement.notes) {
            out += report::paragraph("  note: ", report::printable(note));
        }
    }
    return out + "\n+- is the standard uncertainty (k = 1) in the rows, twice that in the "
                 "sentences, which\njudge by it. Coils are compared cold; hot copper reads 20 % "
                 "more.\n";
}

std::string as_json(const std::vector<Checked>& all, const capture::BenchInfo& info) {
    using Json = nlohmann::ordered_json;
    Json loads = Json::array();
    for (const Checked& checked : all) {
        loads.push_back({{"load", checked.horizontal ? "horizontal" : "vertical"},
                         {"verdict", analysis::word(checked.judgement.verdict)},
                         {"reason", checked.judgement.reason},
                         {"next_steps", checked.judgement.next_steps},
                         {"notes", checked.judgement.notes},
                         {"figures", record::figures_to_json(figures_of(checked.step))}});
    }
    return record::json_text({{"schema", report::kOutputSchema},
                              {"command", "check"},
                              {"bench_serial", info.identity.bench_serial},
                              {"simulated", info.simulated},
                              {"calibrated", info.calibrated_s != 0},
                              {"loads", loads}});
}

/// The worst of the loads. Learning wants no verdict: then what cannot be told is no failure.
ExitCode exit_code_of(const std::vector<Checked>& all, bool learning) {
    const auto any = [&](auto&& is) {
        return std::any_of(all.begin(), all.end(),
                           [&](const Checked& c) { return is(c.judgement.verdict); });
    };
    if (any([](LoadVerdict v) { return v != LoadVerdict::kOk && v != LoadVerdict::kNotSure; })) {
        return ExitCode::kVerdict;
    }
    const bool unsure = any([](LoadVerdict v) { return v == LoadVerdict::kNotSure; });
    return unsure && !learning ? ExitCode::kCannotTell : ExitCode::kGood;
}

Status learn(const CheckCommand& o, const std::vector<Checked>& all, record::CoilFile file,
             const capture::BenchInfo& info, Seams& seams) {
    for (const Checked& checked : all) {
        if (!checked.step.ok || checked.step.no_current || checked.step.no_rise) {
            return Error{
                ErrorKind::kRefused,
                fmt::format("the {} load cannot be learned: {}; nothing was written",
                            checked.horizontal ? "horizontal" : "vertical",
                            checked.step.ok ? checked.judgement.reason : checked.step.problem)};
        }
        record::LearnedLoad load;
        load.coil.resistance = checked.step.resistance;
        load.coil.inductance = checked.step.inductance;
        load.coil.fast_inductance = checked.step.fast_inductance;
        load.coil.second = checked.step.second.found;
        load.time_utc = seams.utc_now();
        load.bench_serial = info.identity.bench_serial;
        (checked.horizontal ? file.horizontal : file.vertical) = load;
    }
    file.simulated = file.simulated || o.simulated;
    if (const Status saved = record::save_coils(file, o.learn_file); !saved) {
        return saved;
    }
    seams.err << fmt::format("learned: {0}; later: yokedock check --bench {1} --learned {0}\n",
                             o.learn_file, o.bench);
    return Done{};
}

Result<ExitCode> run_check(const CheckCommand& o, Seams& seams) {
    const auto known = prepare(o);
    if (!known) {
        return known.error();
    }
    if (!o.quiet_cautions) {
        seams.err << caution_text() << '\n';
    }
    seams.err << "Unplug the board from the loads: this drives them from the bench, with the "
                 "board's supply off.\n";
    auto opened = seams.open_bench(o.bench);
    if (!opened) {
        return opened.error();
    }
    bench::Bench& bench = opened.value();
    const PowerGuard off(bench, false, seams);
    if (const auto power = bench.power_off(); !power) {
        return power.error();
    }
    const capture::BenchInfo info = capture::make_bench_info(bench, o.simulated);
    std::vector<Checked> all;
    for (const bool horizontal : {false, true}) {
        if (o.load != "both" && (o.load == "horizontal") != horizontal) {
            continue;
        }
        auto checked = check_load(bench, info, o, known.value(), horizontal, seams);
        if (!checked) {
            return checked.error();
        }
        all.push_back(std::move(checked).value());
    }
    seams.out << (o.json ? as_json(all, info) : as_text(all, info)) << std::flush;
    if (!o.learn_file.empty()) {
        if (const Status learned = learn(o, all, known.value().learning, info, seams); !learned) {
            return learned.error();
        }
    }
    return exit_code_of(all, !o.learn_file.empty());
}

} // namespace

void set_up_check(Parser& app, Chosen& chosen) {
    const auto o = std::make_shared<CheckCommand>();
    Parser command = add_command<CheckCommand>(
        app, chosen, "check",
        "Measure the loads before the board gets power, and say whether they are right",
        kGroupBench, o, run_check);
    command.add_option("--bench", o->bench, "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH")
        .required();
    command.add_option("--load", o->load, "vertical, horizontal or both").show_default();
    command.add_option("--profile", o->profile_file,
                       "profile of the board type (JSON): the yoke it should have");
    command.add_option("--learn", o->learn_file,
                       "keep what is measured as the real yoke, in this file");
    command.add_option("--learned", o->learned_file, "compare with a yoke learned earlier");
    const std::string source = "Step drive (docs/bench)";
    command.add_option("--drive-v", o->drive_v, "its voltage, open").show_default().group(source);
    command.add_option("--drive-u-v", o->drive_u_v, "standard uncertainty")
        .show_default()
        .group(source);
    command
        .add_option("--drive-ohm", o->drive_ohm, "all in series: resistor, switch, contacts, shunt")
        .show_default()
        .group(source);
    command.add_option("--drive-u-ohm", o->drive_u_ohm, "standard uncertainty")
        .show_default()
        .group(source);
    command.add_flag("--simulated", o->simulated,
                     "the bench is the virtual one: the output says so");
    command.add_flag("--quiet-cautions", o->quiet_cautions,
                     "leave the cautions out; they are below");
    command.add_flag("--json", o->json, "results as JSON").group("Output");
    command.footer(
        "Exit code 0: the loads are right, or --learn has kept them and none is seen to be wrong; "
        "1: a load is wrong; 7: it cannot be told (not sure, or neither --profile nor --learned "
        "says what the load should be).\n\n"
        "Examples:\n  yokedock check --bench tcp:127.0.0.1:4100 --profile "
        "demo/boards/quillwood13.profile.json\n"
        "  yokedock check --bench tcp:127.0.0.1:4100 --load vertical --learn yokes.json\n\n" +
        caution_text());
}

} // namespace yokedock::cli
