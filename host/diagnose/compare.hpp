// SPDX-License-Identifier: MIT
// Does one measurement of a board match one or several others? Figure by figure, ramp by ramp, and
// in one verdict. docs/compare.md has the method. Pure.
#pragma once
#include "host/analysis/analyse.hpp"
#include "host/diagnose/compare_rules.hpp"
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::diagnose {

/// How a measurement was taken, as far as that bears on a comparison.
struct Circumstances {
    std::string standard;    ///< name of a sync standard, "free", or "" not known
    double line_rate_hz = 0; ///< fed to the board; 0 not known
    double field_rate_hz = 0;
    bool sync_on = false;
    bool imported = false;
    bool simulated = false;
    bool complete = true;
    std::string bench; ///< "bench 13"; "" not known (imports, benches without a serial number)
    std::vector<double> scale; ///< everything readings were scaled with; equal on one bench: what
                               ///< is common drops out of differences. Empty: not known
    bool calibrated = false;
    std::string board; ///< name of the board type; "" not known
    struct Coil {
        std::optional<double> inductance_h;
        std::optional<double> resistance_ohm;
        double tolerance_pct = 10;
    };
    Coil vertical_coil; ///< the load, as the record's profile states it
    Coil horizontal_coil;
};

/// How long a channel was looked at, and how finely.
struct Sampling {
    double seconds = 0; ///< longest stretch without a gap of more than 20 of its steps
    double step_s = 0;  ///< median distance of its samples
};
[[nodiscard]] std::map<std::string, Sampling> samplings_of(const capture::Observation& observation);

struct Measurement {
    std::string name; ///< for texts: the file's name
    Circumstances under;
    analysis::FigureSet figures;
    std::vector<analysis::RampCurve> curves;
    std::map<std::string, Sampling> channels; ///< those that were sampled
};

/// What the references are.
enum class ReferenceKind {
    kSameBoard,   ///< the board itself, earlier: nothing but measuring lies between two runs
    kOtherBoards, ///< good boards of the type: room is left for how they differ
};

struct CompareOptions {
    ReferenceKind kind = ReferenceKind::kSameBoard;
    bool same_instruments = false; ///< somebody says so, where records cannot (imports)
    bool vertical = true;          ///< axes the verdict is about
    bool horizontal = true;
    std::map<std::string, double> tolerance; ///< a profile's, in the figure's unit, by figure name
};

enum class Verdict {
    kSame,          ///< within tolerance, and measured well enough to say so
    kDifferent,     ///< beyond tolerance, and more than measuring can explain
    kCannotTell,    ///< neither can be said
    kNotMeasured,   ///< in one of the two
    kNotComparable, ///< taken under conditions that change it by themselves
    kNotJudged,     ///< not of the board: shown only
};

struct FigureComparison {
    std::string name;
    std::string text;
    std::string unit;
    FigureRule rule;
    double value = 0;           ///< of the record
    double reference = 0;       ///< mean of the references
    double difference = 0;      ///< value - reference; NaN where one is missing
    double u = 0;               ///< standard uncertainty of the difference
    double freedoms = 0;        ///< effective degrees of freedom of u
    double coverage = 0;        ///< u is multiplied with this to tell a difference from noise
    std::size_t references = 0; ///< that have it
    double spread = 0;          ///< standard deviation between them; NaN for one
    double tolerance = 0;       ///< NaN: none
    std::string basis;          ///< of the tolerance: "default", "stated", "spread of 3 boards"
    bool real = false;          ///< more than measuring explains, beyond tolerance or not
    Verdict verdict = Verdict::kNotJudged;
    std::string reason; ///< whole clause, where the verdict needs one
    std::string where;  ///< on the picture
};

/// Two ramps over one window. Differences are of the record less the reference, in % of the
/// reference's p-p in the window. Shape: what is left when the best size and centring were taken
/// off.
struct RampComparison {
    std::string channel;
    Axis axis = Axis::kVertical;
    Verdict verdict = Verdict::kNotMeasured;
    std::string reason;
    bool against_sync = false;
    double window_begin_s = 0;
    double window_end_s = 0;
    double pp = 0; ///< of the reference, in the unit of the channel
    struct Largest {
        double pct = 0;
        double u_pct = 0;
        double place = 0; ///< -1 (begin of the window) to 1
        std::string where;
    };
    Largest largest; ///< as they are
    double rms_pct = 0;
    double rms_u_pct = 0;
    double size_ratio = 1; ///< record / reference
    double size_ratio_u = 0;
    double shift_pct = 0; ///< of centring
    double shift_u_pct = 0;
    Largest shape_largest;
    double shape_rms_pct = 0;
    double shape_rms_u_pct = 0;
    double tolerance_pct = 0; ///< of shape_largest, at its place
    std::string basis;
    double coverage = 0;
    std::vector<double> x;              ///< places, -1 to 1
    std::vector<double> difference_pct; ///< for a picture
    std::vector<double> shape_pct;
};

enum class ConditionState { kEqual, kOther, kUnknown };

struct Condition {
    std::string what; ///< "sync", "load", "bench" ...
    ConditionState state;
    std::string text;   ///< whole sentence
    bool stops = false; ///< makes figures incomparable
};

struct AxisVerdict {
    Axis axis;
    Verdict verdict = Verdict::kCannotTell; ///< kSame, kDifferent or kCannotTell
    std::vector<std::string> differ;        ///< what differs, with numbers, most telling first
    std::vector<std::string> open;          ///< what could not be told, with the reason
};

struct Comparison {
    ReferenceKind kind = ReferenceKind::kSameBoard;
    Verdict verdict = Verdict::kCannotTell; ///< kSame, kDifferent or kCannotTell
    std::vector<AxisVerdict> axes; ///< vertical, horizontal as asked; supply only when it differs
    std::vector<Condition> conditions;
    std::vector<FigureComparison> figures; ///< in the order of the record
    std::vector<RampComparison> ramps;     ///< vertical, horizontal
    std::size_t tests = 0;                 ///< judgements the false alarms were shared out to
    std::vector<std::string> references;
};

/// At least one reference. All must have been analysed over one window (the first reference's).
[[nodiscard]] Comparison compare(const Measurement& record,
                                 const std::vector<Measurement>& references,
                                 const CompareOptions& options = {});

/// Options for analysing everything that is compared with a reference: where none states a window
/// and the reference is locked to sync, the window that it was judged over, fixed to sync; so that
/// both are judged over one part of the picture.
[[nodiscard]] analysis::AnalysisOptions windows_of(const analysis::AnalysisResult& reference,
                                                   analysis::AnalysisOptions options);

/// A board has no rate when none was seen over this many periods of the reference: at half the
/// rate, the slowest that is believed of a current, three retraces fall into them, which make a
/// rate.
inline constexpr double kPeriodsForNone = 6;
/// Samples per period in which a current's retrace can be seen at all (as in the analysis).
inline constexpr double kSamplesPerPeriod = 8;
/// Probability that a board that did not change is called different, all figures and ramps together
/// (at most; Bonferroni).
inline constexpr double kFalseAlarm = 0.01;
/// Probability that a good board of the type lies outside the band of the spread in any figure.
inline constexpr double kOutsideSpread = 0.05;
/// A figure is called the same when the difference, widened by this many u, stays within tolerance:
/// one-sided 5 % (JCGM 106:2012, guarded acceptance).
inline constexpr double kGuard = 1.645;
/// Degrees of freedom that what was known before counts for beside a spread that was seen.
inline constexpr double kKnownFreedoms = 8;

} // namespace yokedock::diagnose
