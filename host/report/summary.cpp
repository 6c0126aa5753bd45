// SPDX-License-Identifier: MIT
#include "host/report/summary.hpp"
#include "host/report/calibration_report.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using analysis::Figure;
using analysis::FigureSet;
using analysis::FigureStatus;

const Figure* value_of(const FigureSet& figures, const std::string& name) {
    const Figure* figure = analysis::find_figure(figures, name);
    return figure != nullptr && figure->status == FigureStatus::kMeasured ? figure : nullptr;
}

std::string quantity(const Figure& figure) {
    return quantity_text(figure.value, figure.u, figure.unit);
}

/// One sentence on one axis from what there is.
std::string axis_sentence(const FigureSet& figures, char axis) {
    const std::string prefix(1, axis);
    const char* name = axis == 'v' ? "Vertical" : "Horizontal";
    std::vector<std::string> parts;
    if (const std::string lock = lock_words(figures, axis); !lock.empty()) {
        parts.push_back(lock);
    }
    if (const Figure* rate = value_of(figures, prefix + "_rate_hz")) {
        parts.push_back(quantity(*rate));
    }
    if (const Figure* size = value_of(figures, prefix + "_yoke_pp_a")) {
        parts.push_back("size " + quantity(*size) + " p-p");
    }
    if (const Figure* bend = value_of(figures, prefix + "_yoke_linearity_lsq_pct")) {
        parts.push_back("largest distance from the least-squares line " + quantity(*bend) +
                        (bend->where.empty() ? "" : " (" + bend->where + ")"));
    }
    if (const Figure* retrace = value_of(figures, prefix + "_retrace_us")) {
        parts.push_back("retrace " + quantity(*retrace) + " (10 to 90 %)");
    }
    if (parts.empty()) {
        const Figure* rate = analysis::find_figure(figures, prefix + "_rate_hz");
        return fmt::format("{}: nothing was measured{}.", name,
                           rate == nullptr || rate->reason.empty() ? "" : ", " + rate->reason);
    }
    return fmt::format("{}: {}.", name, fmt::join(parts, "; "));
}

std::string bench_words(const capture::BenchInfo& bench) {
    return fmt::format("bench serial {}, firmware {}.{}.{}, {}", bench.identity.bench_serial,
                       bench.identity.firmware_major, bench.identity.firmware_minor,
                       bench.identity.firmware_patch, bench.address);
}

} // namespace

std::string lock_words(const FigureSet& figures, char axis) {
    const Figure* locked = value_of(figures, std::string(1, axis) + "_locked");
    return locked == nullptr ? "" : locked->value > 0.5 ? "locked" : "not locked";
}

std::string heading(const record::Record& record) {
    std::string out = record.imported ? fmt::format("Imported {} from {}", record.time_utc,
                                                    fmt::join(record.imported->source_files, ", "))
                                      : fmt::format("Measured {} on {}", record.time_utc,
                                                    bench_words(record.raw->bench));
    if (!record.standard.empty()) {
        out += ", sync " + record.standard;
    }
    if (record.profile) {
        out += ", profile " + record.profile->name;
    }
    out = paragraph("", printable(out));
    if (record.raw && record.raw->bench.simulated) {
        out += "SIMULATED BENCH: these figures say nothing about real hardware.\n";
    }
    if (record.raw) {
        out += paragraph("", calibration_words(record.raw->bench));
    }
    if (!record.complete) {
        out += "INCOMPLETE: the measurement was stopped or cut off.\n";
    }
    for (const std::string& note : record.notes) {
        out += paragraph("note: ", printable(note));
    }
    return out;
}

std::string summary(const FigureSet& figures) {
    return paragraph("", printable(axis_sentence(figures, 'v'))) +
           paragraph("", printable(axis_sentence(figures, 'h')));
}

} // namespace yokedock::report
