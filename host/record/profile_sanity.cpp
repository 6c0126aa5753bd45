// SPDX-License-Identifier: MIT
#include "host/record/profile_read.hpp"
#include "shared/sync/standards.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

/// Sync of another rate than the standard's by more than this is another standard. Wider than any
/// free-running board is off.
constexpr double kMostOffStandard = 0.1;

using Limit = std::optional<double>;

class Sanity {
  public:
    Sanity(const Profile& profile, const KeyedObject& root)
        : profile_(profile), root_(root), limits_(place("limits", root)) {}

    void below(const char* low_key, const Limit& low, const char* high_key, const Limit& high) {
        if (low && high && !(*low < *high)) {
            complain(high_key, *high, fmt::format("more than {}, which is {:.6g}", low_key, *low));
        }
    }
    void needs(const char* key, const Limit& limit, const char* other_key, const Limit& other) {
        if (limit && !other && limits_) {
            limits_->absent(other_key).complain(
                "missing", fmt::format("a number, since {} is stated: one means nothing without "
                                       "the other",
                                       key));
        }
    }
    void over(const char* key, const Limit& limit, double least, const char* why) {
        if (limit && !(*limit > least)) {
            complain(key, *limit, fmt::format("more than {:.6g}: {}", least, why));
        }
    }
    /// A board that shows what is expected of it must not trip.
    void allows(const char* key, const Limit& limit, const char* figure, bool upper) {
        const auto expected = profile_.expected.find(figure);
        if (!limit || expected == profile_.expected.end()) {
            return;
        }
        const double value = expected->second.value;
        if (upper ? value >= *limit : value <= *limit) {
            complain(key, *limit,
                     fmt::format("{} than expected.{}.value, which is {:.6g}: a good board would "
                                 "trip",
                                 upper ? "more" : "less", figure, value));
        }
    }
    void line_rate() {
        const double nominal = nominal_line_rate_hz(profile_);
        const Limit& least = profile_.limits.line_rate_min_hz;
        if (least && nominal > 0 && !(*least < nominal)) {
            complain("line_rate_min_hz", *least,
                     fmt::format("less than the line rate, which is {:.6g} Hz", nominal));
        }
    }
    void rates_against_standard() {
        Profile bare;
        bare.standard = profile_.standard;
        against("line_rate_hz", profile_.line_rate_hz, nominal_line_rate_hz(bare));
        against("field_rate_hz", profile_.field_rate_hz, nominal_field_rate_hz(bare));
    }

  private:
    static std::optional<Node> place(const char* key, const KeyedObject& root) {
        return root.child(key);
    }
    void complain(const char* key, double is, const std::string& expected) const {
        if (limits_) {
            limits_->absent(key).complain(fmt::format("{:.6g}", is), expected);
        }
    }
    void against(const char* key, double rate, double standard) const {
        if (rate > 0 && standard > 0 && std::abs(rate / standard - 1) > kMostOffStandard) {
            root_.place(key).complain(
                fmt::format("{:.6g}", rate),
                fmt::format("within {:.0f} % of {:.6g} Hz, the rate of {}; leave standard out for "
                            "rates of your own",
                            100 * kMostOffStandard, standard, profile_.standard));
        }
    }

    const Profile& profile_;
    const KeyedObject& root_;
    std::optional<Node> limits_;
};

const sync::Standard* standard_of(const Profile& profile) {
    for (const sync::Standard& standard : sync::kStandards) {
        if (profile.standard == standard.name) {
            return &standard;
        }
    }
    return nullptr;
}

} // namespace

double nominal_line_rate_hz(const Profile& profile) {
    const sync::Standard* standard = standard_of(profile);
    if (profile.line_rate_hz > 0 || standard == nullptr) {
        return profile.line_rate_hz;
    }
    return static_cast<double>(standard->settings.line_rate_numerator) /
           standard->settings.line_rate_denominator;
}

double nominal_field_rate_hz(const Profile& profile) {
    const sync::Standard* standard = standard_of(profile);
    if (profile.field_rate_hz > 0 || standard == nullptr) {
        return profile.field_rate_hz;
    }
    return 2 * nominal_line_rate_hz(profile) / standard->settings.half_lines;
}

void check_sanity(const Profile& profile, const KeyedObject& root) {
    Sanity sanity(profile, root);
    sanity.rates_against_standard();
    const ProfileLimits& l = profile.limits;
    sanity.below("supply_min_v", l.supply_min_v, "supply_max_v", l.supply_max_v);
    sanity.below("soft_start_min_v", l.soft_start_min_v, "supply_max_v", l.supply_max_v);
    sanity.below("supply_idle_max_a", l.supply_idle_max_a, "supply_max_a", l.supply_max_a);
    sanity.below("v_out_min_v", l.v_out_min_v, "v_out_max_v", l.v_out_max_v);
    sanity.needs("soft_start_min_v", l.soft_start_min_v, "soft_start_ms", l.soft_start_ms);
    if (!l.supply_idle_max_a) { // that one may be judged at the time, too
        sanity.needs("soft_start_ms", l.soft_start_ms, "soft_start_min_v", l.soft_start_min_v);
    }
    if (const double field = nominal_field_rate_hz(profile); field > 0) {
        sanity.over("v_retrace_missing_ms", l.v_retrace_missing_ms, 1500 / field,
                    "one and a half fields, else every field would trip");
    }
    if (const double line = nominal_line_rate_hz(profile); line > 0) {
        sanity.over("h_retrace_missing_ms", l.h_retrace_missing_ms, 1500 / line,
                    "one and a half lines, else every line would trip");
    }
    sanity.line_rate();
    sanity.allows("supply_min_v", l.supply_min_v, "supply_v", false);
    sanity.allows("supply_max_v", l.supply_max_v, "supply_v", true);
    sanity.allows("supply_max_a", l.supply_max_a, "supply_a", true);
    sanity.allows("v_out_min_v", l.v_out_min_v, "v_out_min_v", false);
    sanity.allows("v_out_max_v", l.v_out_max_v, "v_out_max_v", true);
    sanity.allows("h_peak_max_v", l.h_peak_max_v, "h_peak_v", true);
    sanity.allows("heatsink_max_c", l.heatsink_max_c, "heatsink_c", true);
}

} // namespace yokedock::record
