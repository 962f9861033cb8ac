#include "analysis/amplifier/clip_onset.h"

#include <algorithm>
#include <vector>

#include "analysis/signal/monotone_curve.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double more_drive_db = 0.5;
constexpr double less_peak_db = 0.25;
constexpr double grid_db = 0.005;
constexpr double peak_to_noise = 30.0;  // a fainter step's peak is not read well enough

double peak_of(const StepReading& reading, Polarity polarity) {
    return polarity == Polarity::positive ? reading.peak_positive_v : -reading.peak_negative_v;
}

}  // namespace

std::variant<ClipOnset, Absent> find_clip_onset(std::span<const StepReading> readings, Polarity polarity) {
    std::vector<double> drives;
    std::vector<double> peaks_db;
    std::vector<double> totals;
    for (const StepReading& reading : readings) {
        const double peak = peak_of(reading, polarity);
        if (peak <= peak_to_noise * reading.fundamental_doubt_v ||
            (!drives.empty() && reading.level_dbfs <= drives.back()))
            continue;
        drives.push_back(reading.level_dbfs);
        peaks_db.push_back(decibels(peak));
        totals.push_back(reading.total_v);
    }
    const Absent not_reached{"onset-not-reached",
                             "no flattening of this half of the wave up to the loudest step",
                             "let the tone go louder if the onset of clipping is wanted"};
    if (drives.size() < 3 || drives.back() - drives.front() < 2.0 * more_drive_db) return not_reached;
    const MonotoneCurve peak_curve(drives, peaks_db);
    const auto flattens = [&](double drive) {
        return peak_curve.at(drive + more_drive_db) - peak_curve.at(drive) < less_peak_db;
    };

    // From the top down, so that a wrinkle at low level (crossover, noise) is not taken for clipping.
    const double top = drives.back() - more_drive_db;
    if (!flattens(top)) return not_reached;
    double drive = top;
    while (drive - grid_db > drives.front() && flattens(drive - grid_db)) drive -= grid_db;
    if (drive - grid_db <= drives.front()) {
        return Absent{"no-straight-part", "the wave is flattened from the lowest step on",
                      "start the tone at a lower level (from_dbfs)"};
    }
    ClipOnset onset;
    onset.drive_dbfs = drive;
    onset.peak_v = ratio_from_decibels(peak_curve.at(drive));
    onset.total_v = MonotoneCurve(drives, totals).at(drive);
    return onset;
}

}  // namespace assay::analysis
