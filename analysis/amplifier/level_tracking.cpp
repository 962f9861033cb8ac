#include "analysis/amplifier/level_tracking.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdio>
#include <vector>

#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double tolerated_db = 0.5;
// A dead zone of relative width d lowers the fundamental by about 11 d dB and reads 62 d % (reference: closed
// form of the dead zone), a cubic limit 0.26 dB at 1 %: honest non-linearity shows at least about 4 % of
// distortion for each decibel. A leveller acts slowly and shows next to none.
constexpr double percent_per_db = 1.0;
constexpr double alike_db = 0.2;  // strays within it share one cause that does not know the level

double gain_of(const StepReading& reading) {
    return reading.fundamental_v / ratio_from_decibels(reading.level_dbfs);
}

bool well_above_noise(const StepReading& reading) {
    return reading.fundamental_v > clean_snr * reading.fundamental_doubt_v;
}

std::string sentence(const char* format, double first, double second) {
    std::array<char, 240> text{};
    std::snprintf(text.data(), text.size(), format, first, second);  // NOLINT: literals of this file
    return text.data();
}

/// Whether the odd harmonics are those of a dead zone: cosine phases, in which clipping gives a negative
/// third. Without feedback the dead zone takes a square wave away: a positive third, a fifth of 3/5 of it. A
/// loop that integrates leaves the derivative of that: a spike at each crossing, odd harmonics of equal
/// height and a third turned by 90 degrees, so that its sign tells nothing and its slow decay does.
bool of_dead_zone(const StepReading& reading) {
    constexpr double slow_decay = 0.4;    // of the fifth over the third; soft limiting leaves far less
    constexpr double not_clipping = 0.5;  // cosine of the least angle to the third of clipping
    const std::complex<double> third = reading.harmonics[2];
    if (std::norm(third) <= 2.0 * std::norm(reading.harmonics[1])) return false;
    if (third.real() > 0.0) return true;
    return reading.harmonics.size() >= 5 && third.real() > -not_clipping * std::abs(third) &&
           std::abs(reading.harmonics[4]) >= slow_decay * std::abs(third);
}

}  // namespace

SmallSignalGain small_signal_gain(std::span<const StepReading> readings) {
    double lowest = 1e9;
    for (const StepReading& reading : readings) {
        if (well_above_noise(reading)) lowest = std::min(lowest, reading.thd);
    }
    std::vector<double> gains;
    for (const StepReading& reading : readings) {
        if (well_above_noise(reading) && reading.thd <= std::max(3.0 * lowest, 0.002))
            gains.push_back(gain_of(reading));
    }
    if (gains.empty()) return {};
    std::sort(gains.begin(), gains.end());
    const double middle = gains[gains.size() / 2];
    const double spread = gains[gains.size() * 3 / 4] - gains[gains.size() / 4];
    return {middle, spread / 1.349 / middle / std::sqrt(static_cast<double>(gains.size())), true};
}

std::optional<Absent> levels_do_not_track(std::span<const StepReading> readings, double clip_drive_dbfs) {
    // The reference is the loudest part that is not yet clipped: levellers and gates act on the faint.
    std::vector<const StepReading*> straight;
    for (const StepReading& reading : readings) {
        if (reading.level_dbfs < clip_drive_dbfs - 0.5) straight.push_back(&reading);
    }
    if (straight.size() < 4) return std::nullopt;
    std::vector<double> top_gains;
    double top_distortion = 0.0;
    for (const StepReading* reading : straight) {
        if (!well_above_noise(*reading) || reading->level_dbfs <= straight.back()->level_dbfs - 3.0) continue;
        top_gains.push_back(gain_of(*reading));
        top_distortion = std::max(top_distortion, reading->thd);
    }
    if (top_gains.empty()) return std::nullopt;
    std::sort(top_gains.begin(), top_gains.end());
    const double reference = top_gains[top_gains.size() / 2];
    int strays = 0;
    const StepReading* worst = nullptr;
    double worst_db = 0.0;
    double least_db = 1e9;
    double most_db = -1e9;
    bool honest_distortion = false;
    for (const StepReading* reading : straight) {
        const double expected_v = reference * ratio_from_decibels(reading->level_dbfs);
        if (expected_v < clean_snr * reading->fundamental_doubt_v) continue;  // too faint to say
        const double seen_v = std::max(reading->fundamental_v, reading->fundamental_doubt_v);
        const double off_db = decibels(seen_v / expected_v);
        if (reading->thd > 0.03 && well_above_noise(*reading)) honest_distortion = true;
        if (std::abs(off_db) < tolerated_db) continue;
        // A faint step may be low for its own distortion (a dead zone), or high because the loud ones bend.
        const double bent = off_db < 0.0 ? reading->thd : std::max(reading->thd, top_distortion);
        if (well_above_noise(*reading) && 100.0 * bent > percent_per_db * std::abs(off_db)) continue;
        ++strays;
        least_db = std::min(least_db, off_db);
        most_db = std::max(most_db, off_db);
        if (worst == nullptr || std::abs(off_db) > std::abs(worst_db)) {
            worst = reading;
            worst_db = off_db;
        }
    }
    if (strays < 2 || worst == nullptr) return std::nullopt;
    // Steps swallowed whole below others that show strong distortion: a dead zone, which is the amplifier's
    // own.
    if (worst_db < 0.0 && honest_distortion && !well_above_noise(*worst)) return std::nullopt;
    // What levels or gates follows the level; a knob that was turned shifts every step before it alike.
    const bool alike = most_db - least_db < alike_db;
    const std::string how =
        std::string(alike ? "all that stray do by as much: the gain was moved between steps (a hand "
                            "on the knob), or "
                          : "") +
        (worst_db < 0.0 ? "faint steps are swallowed (a gate or noise suppression)"
                        : "faint steps are lifted (a compressor or automatic level)");
    return Absent{
        "levels-do-not-track",
        sentence("levels do not rise as played: the step of %.1f dBFS reads %+.1f dB off the louder ones; ",
                 worst->level_dbfs, worst_db) +
            how,
        std::string(alike ? "leave the gain control alone, " : "") +
            "switch off automatic level, noise suppression and enhancements of player and recorder, "
            "then record again"};
}

std::optional<std::string> crossover_distortion(std::span<const StepReading> readings) {
    // From the step of least distortion downwards. One in the noise may read none at all.
    std::size_t best = readings.size();
    for (std::size_t k = 0; k < readings.size(); ++k) {
        if (well_above_noise(readings[k]) &&
            (best == readings.size() || readings[k].thd < readings[best].thd))
            best = k;
    }
    if (best == readings.size()) return std::nullopt;
    const StepReading* faintest = nullptr;
    int rising = 0;
    int looked_at = 0;
    for (std::size_t k = best; k-- > 0;) {
        const StepReading& reading = readings[k];
        if (reading.thd < 4.0 * reading.thd_noise || reading.harmonics.size() < 3) break;
        ++looked_at;
        if (of_dead_zone(reading)) {
            ++rising;
            faintest = &reading;
        }
    }
    if (faintest == nullptr || rising < 3 || rising * 5 < looked_at * 4) return std::nullopt;
    if (faintest->thd < 2.0 * std::max(readings[best].thd, 1e-5) || faintest->thd < 5e-4) return std::nullopt;
    return sentence(
        "distortion rises as the level falls, to %.2g %% at %.3g V: the signature of crossover distortion "
        "(a dead zone where one half of the output stage hands over to the other)",
        100.0 * faintest->thd, faintest->fundamental_v);
}

}  // namespace assay::analysis
