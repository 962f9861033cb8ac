#include "analysis/amplifier/gain_fall.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <vector>

#include "analysis/signal/median.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double faintest_db = 3.0;  // of the row
constexpr double bent_share = 0.5;   // of the fall that is looked for: more than that is no straight part

struct FaintGain {
    double volts_per_full_scale = 0.0;  // RMS for the RMS of a full-scale sine
    double bend_db = 0.0;               // fall within these steps, beyond what noise may do
};

/// Gain of the faintest steps. Distortion tells nothing of which steps are below the limit: here its
/// harmonics lie beyond the band.
std::optional<FaintGain> faint_gain(std::span<const StepReading> readings) {
    std::vector<double> gains;
    const StepReading* first = nullptr;
    const StepReading* last = nullptr;
    for (const StepReading& reading : readings) {
        if (!(reading.fundamental_v > clean_snr * reading.fundamental_doubt_v)) continue;
        if (first == nullptr) first = &reading;
        if (reading.level_dbfs > first->level_dbfs + faintest_db) break;
        last = &reading;
        gains.push_back(reading.fundamental_v / ratio_from_decibels(reading.level_dbfs));
    }
    if (gains.empty()) return std::nullopt;
    constexpr double db_per_relative = 20.0 / std::numbers::ln10;
    const double noise_db = 3.0 * db_per_relative *
                            std::hypot(first->fundamental_doubt_v / first->fundamental_v,
                                       last->fundamental_doubt_v / last->fundamental_v);
    const double fallen_db = decibels(gains.front() / gains.back());
    return FaintGain{median(gains),
                     std::max(std::abs(fallen_db) - noise_db, 0.0) * (fallen_db < 0.0 ? -1.0 : 1.0)};
}

double fall_of(const StepReading& reading, double small_signal_v) {
    return reading.level_dbfs - decibels(reading.fundamental_v / small_signal_v);
}

Absent no_gain() {
    return {"gain-unknown", "no step stands clear of noise, so its gain is not known",
            "start lower: turn the unit's gain down"};
}

}  // namespace

std::variant<double, Absent> gain_fall_db(std::span<const StepReading> readings, double drive_dbfs) {
    const auto gain = faint_gain(readings);
    if (!gain) return no_gain();
    for (std::size_t k = 0; k + 1 < readings.size(); ++k) {
        const double low_dbfs = readings[k].level_dbfs;
        const double high_dbfs = readings[k + 1].level_dbfs;
        if (drive_dbfs < low_dbfs || drive_dbfs > high_dbfs || low_dbfs == high_dbfs) continue;
        const double part = (drive_dbfs - low_dbfs) / (high_dbfs - low_dbfs);
        const double low_db = fall_of(readings[k], gain->volts_per_full_scale);
        return low_db + part * (fall_of(readings[k + 1], gain->volts_per_full_scale) - low_db);
    }
    return Absent{"outside-range", "the drive lies outside of the steps", "widen the range"};
}

std::variant<LimitCrossing, Absent> find_gain_fall(std::span<const StepReading> readings, double fall_db) {
    const auto gain = faint_gain(readings);
    if (!gain) return no_gain();
    if (gain->bend_db > bent_share * fall_db)
        return Absent{"limited-from-the-start",
                      "the gain falls from the faintest step on, so what it was before is not known",
                      "turn the unit's gain down, or lower to_dbfs"};
    for (std::size_t k = readings.size(); k-- > 1;) {
        const double low_db = fall_of(readings[k - 1], gain->volts_per_full_scale);
        const double high_db = fall_of(readings[k], gain->volts_per_full_scale);
        if (low_db >= fall_db || high_db < fall_db) continue;
        const double part = (fall_db - low_db) / (high_db - low_db);
        const double rise_v = readings[k].total_v - readings[k - 1].total_v;
        LimitCrossing crossing;
        crossing.drive_dbfs =
            readings[k - 1].level_dbfs + part * (readings[k].level_dbfs - readings[k - 1].level_dbfs);
        crossing.total_v = readings[k - 1].total_v + part * rise_v;
        constexpr double least_doubt_db = 0.01;
        const double doubt_db = std::hypot(std::max(0.1 * fall_db, least_doubt_db), gain->bend_db);
        crossing.interpolation_doubt_v = std::abs(rise_v) * std::min(doubt_db / (high_db - low_db), 1.0);
        crossing.noise_doubt_v = readings[k].fundamental_doubt_v;
        crossing.below = k - 1;
        crossing.above = k;
        return crossing;
    }
    return Absent{"limit-not-reached",
                  "the gain never falls as far as it does at the limit at 1 kHz, up to the loudest step",
                  "turn the unit's gain up, or let the tone go louder"};
}

}  // namespace assay::analysis
