// SPDX-License-Identifier: MIT
#include "host/cli/power_up.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/capture/supply_readings.hpp"
#include "host/cli/output.hpp"
#include "host/cli/trip_parts.hpp"
#include "host/record/record.hpp"
#include "host/report/text.hpp"
#include <cmath>
#include <filesystem>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

std::string reading_text(const bench::StageReadings& readings, ChannelId channel) {
    const auto at = static_cast<std::size_t>(channel);
    return readings[at] ? fmt::format("{:.2f} {}", *readings[at], kChannels[at].unit)
                        : std::string("not measured");
}

void print_stage(const bench::StageReport& stage, Seams& seams) {
    seams.err << fmt::format("supply {:<9} {:5.1f} s", bench::stage_word(stage.stage),
                             stage.time_s);
    if (stage.not_measured.empty()) {
        seams.err << fmt::format("   rail {}, current {}",
                                 reading_text(stage.readings, ChannelId::supply_v),
                                 reading_text(stage.readings, ChannelId::supply_a));
    } else {
        seams.err << "   not measured: " << report::printable(stage.not_measured);
    }
    seams.err << '\n' << std::flush;
}

std::string trip_path(const TripFile& file) {
    const std::filesystem::path folder = std::filesystem::path(file.beside).parent_path();
    return (folder / dated_name("yokedock-trip-", file.time_utc, ".json")).string();
}

/// A record of what the bench kept, and of the capture that was cut off. Where the computer judged
/// the start, the bench kept nothing: stages and trip alone.
void keep(const bench::Trip& trip, std::optional<capture::RawCapture> kept, const std::string& last,
          const TripFile& file, const std::optional<record::Profile>& profile,
          BoardSession& session, Seams& seams) {
    record::Record record;
    record.tool_version = YOKEDOCK_VERSION;
    record.time_utc = file.time_utc;
    record.standard = file.standard;
    record.complete = false;
    record.notes = {"trip: " + bench::trip_text(trip)};
    if (!last.empty()) {
        record.notes.push_back("last readings: " + last);
    }
    record.profile = profile;
    record.power = session.power;
    record.raw.emplace();
    record.raw->bench = capture::make_bench_info(session.bench, file.simulated);
    record.raw->complete = false;
    if (session.cut) {
        record.raw->captures.push_back(*session.cut);
    }
    if (kept) {
        record.raw->captures.push_back(std::move(*kept));
    }
    const std::string path = trip_path(file);
    const Status saved = record::save_record(record, path, record::IfExists::kRefuse);
    seams.err << (saved ? "trip: " + path : "warning: the trip was not kept: " + saved.error().text)
              << '\n';
}

/// "supply_a 1.35 A 0.2 ms before": the newest of each channel, in words.
std::string last_text(const capture::RawCapture& kept, const bench::Trip& trip, double clock_hz) {
    std::string out;
    for (const capture::LastReading& last : capture::last_readings(kept, trip.time, clock_hz)) {
        out += fmt::format("{}{} {} {:.1f} ms {}", out.empty() ? "" : ", ",
                           kChannels[static_cast<std::size_t>(last.channel)].name,
                           bench::value_text(last.channel, last.code),
                           std::abs(last.before_s) * 1e3, last.before_s < 0 ? "after" : "before");
    }
    return out;
}

void explain(const bench::Trip& trip, const std::optional<record::Profile>& profile,
             const TripFile& file, BoardSession& session, Seams& seams) {
    session.power.trip = record::trip_record(trip);
    if (profile) {
        std::string parts;
        const auto cause = bench::feed_too_high(trip) ? wire::StopCause::supply_high : trip.cause;
        for (const std::string& part : suspects(cause, *profile)) {
            parts += (parts.empty() ? "" : ", ") + part;
        }
        if (!parts.empty()) {
            seams.err << report::paragraph("look first at: ", report::printable(parts));
        }
    }
    if (trip.time == 0) {
        if (trip.tripped) { // the computer itself switched it off
            keep(trip, std::nullopt, "", file, profile, session, seams);
        }
        return;
    }
    Result<capture::RawCapture> kept = capture::read_trip(session.bench, trip.time);
    if (!kept) {
        seams.err << "warning: the samples kept of the trip could not be read: "
                  << kept.error().text << '\n';
        return;
    }
    const std::string last = last_text(kept.value(), trip, session.bench.identity().clock_hz);
    if (!last.empty()) {
        seams.err << report::paragraph("last readings: ", last);
    }
    keep(trip, std::move(kept).value(), last, file, profile, session, seams);
}

} // namespace

PowerGuard::~PowerGuard() {
    const auto off = bench_.power_off();
    if (!by_bench_) {
        return;
    }
    if (off && bench::supply_off(off.value())) {
        seams_.err << "supply off, confirmed by the bench; reservoirs may still hold charge\n";
    } else {
        seams_.err << report::paragraph(
            "WARNING: ",
            fmt::format("the bench did not confirm that the supply is off. By itself it switches "
                        "off {:g} s after it last heard from this computer; pull the board's plug "
                        "before touching anything.",
                        bench_.identity().silence_limit_ms / 1000.0));
    }
    seams_.err << std::flush;
}

Status power_up(const PowerPlan& plan, const std::optional<record::Profile>& profile, bool free_run,
                const TripFile& file, BoardSession& session, Seams& seams) {
    session.power.by_bench = plan.by_bench;
    session.power.nothing_changed = plan.nothing_changed;
    session.power.answers = plan.answers;
    if (!plan.by_bench) {
        session.guarding = capture::Guarding::kNone;
        return Done{};
    }
    session.power.unguarded = plan.guard.unguarded;
    session.power.notes = plan.guard.notes;
    for (const std::string& limit : plan.guard.unguarded) {
        seams.err << "not guarded, for the profile does not state it: " << limit << '\n';
    }
    for (const std::string& note : plan.guard.notes) {
        seams.err << "note: " << note << '\n';
    }
    bench::EnergiseOptions options;
    options.guard = plan.guard;
    options.supply_idle_max_a = plan.supply_idle_max_a;
    options.supply_max_v = plan.supply_max_v;
    options.loads = plan.loads;
    options.free_run = free_run;
    options.read = [&session] { return capture::read_channels(session.bench); };
    options.on_stage = [&seams](const bench::StageReport& stage) { print_stage(stage, seams); };
    bench::EnergiseOutcome outcome = bench::energise(session.bench, options);
    session.power.stages = outcome.stages;
    session.power.notes.insert(session.power.notes.end(), outcome.notes.begin(),
                               outcome.notes.end());
    for (const std::string& note : outcome.notes) {
        seams.err << "warning: " << note << '\n';
    }
    if (!outcome.error) {
        session.guarding = capture::Guarding::kWatched;
        return Done{};
    }
    if (outcome.trip) {
        explain(*outcome.trip, profile, file, session, seams);
    }
    return *outcome.error;
}

void tell_trip(const Error& error, const std::optional<record::Profile>& profile,
               const TripFile& file, BoardSession& session, Seams& seams) {
    if (error.kind != ErrorKind::kRefused || !session.power.by_bench) {
        return;
    }
    const std::optional<bench::Trip> trip = bench::ask_trip(session.bench, "live");
    if (trip && trip->tripped) {
        explain(*trip, profile, file, session, seams);
    }
}

} // namespace yokedock::cli
