// What a test of several loads says of the channels beside each other: are they equally loud at equal input,
// and do they turn the wave the same way? Both decide how channels may be bridged or used as a pair.
#pragma once

#include <complex>
#include <functional>
#include <string>
#include <vector>

#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

/// One channel as a test heard it, re what was played.
struct ChannelLevel {
    const capture::Load* load = nullptr;
    double volts = 0.0;           // RMS or peak, the same for all, for one level of the player
    double relative_noise = 0.0;  // of these volts, standard
    double plus_share = 1.0;
};

/// `name`: the loudest channel over the faintest, dB, at equal input; condition `loudest_channel`. Absent
/// where their inputs or loads are not alike. Nothing for one load.
void add_balance(const Setup& setup, const std::string& name, const std::vector<ChannelLevel>& channels,
                 double frequency_hz, TestResult& result);

/// Why channels of the test cannot be set beside each other; nothing where they can.
std::optional<analysis::Absent> unlike_channels(const Setup& setup);

/// Volts at the input of this load's channel re that of the test's first one; nothing where it is not known.
std::optional<double> input_re_first(const Setup& setup, const capture::Load& load);

enum class Turning { alike, opposite, not_told };

/// How each load after the first turns the wave re the first: conditions `channel_polarity.<load>`, and for a
/// pair what that means for a bridge.
void add_turning(const Setup& setup, const std::vector<Turning>& re_first, TestResult& result);

/// Both of the above from the steps of a steady tone: `channel_balance_db`.
void add_steady_channels(const Setup& setup, const StaircaseReading& reading, TestResult& result);

}  // namespace assay::cli
