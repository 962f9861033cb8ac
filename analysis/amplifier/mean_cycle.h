// The mean cycle of a steady signal, by phase (equivalent-time sampling), and its peaks.
#pragma once

#include <span>
#include <vector>

namespace assay::analysis {

struct MeanCycle {
    std::vector<double> values{};  // of the phase bins that hold samples, in order of phase
    std::vector<double> phases{};  // their mean phase, turns 0..1; 0 is the fundamental's positive peak
};

MeanCycle mean_cycle(std::span<const double> record, double rate_hz, double frequency_hz,
                     double phase_at_centre_rad);

struct Peaks {
    double positive = 0.0;
    double negative = 0.0;
};

/// Highest and lowest value re the value at the fundamental's zero crossings, where the drive is zero. (Not
/// re the mean: a wave that is cut on one side has a mean of its own, which an AC-coupled input then takes
/// away.) `high_pass_ratio` is the corner of a first-order high-pass over the fundamental; its tilt is undone
/// by adding the corner times the integral. Zero for none.
Peaks peaks_of(const MeanCycle& cycle, double high_pass_ratio);

}  // namespace assay::analysis
