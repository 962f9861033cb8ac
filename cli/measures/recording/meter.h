// A meter on a sliding stretch of samples: what `watch` shows while a hand is on the knob. The same fit as a
// step of a staircase; distortion is shown only while the level stands still, because a moving level is
// distortion too.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "capture/bench.h"

namespace assay::cli {

struct MeterReading {
    bool signal = false;     // a tone stands out
    bool steady = false;     // its level moves by less than half a per cent over the stretch
    double voltage_v = 0.0;  // RMS, 20 Hz to 20 kHz, DC out
    std::optional<double> power_w{};
    double frequency_hz = 0.0;
    std::optional<double> thd{};  // ratios; only while steady
    std::optional<double> thd_plus_noise{};
    bool clips_positive = false;  // of the amplifier: a half wave is flatter than a sine's by 1.5 %
    bool clips_negative = false;
    double peak_dbfs = -200.0;  // of the load's inputs
    bool overload = false;      // one of them is at full scale
};

/// `channels`: equally long stretches, channel n of the bench at n - 1. At least 0.1 s. Amplifier clipping is
/// told from the tone's shape where the recorder is not overloaded; at about 0.5 % THD of a hard clip (closed
/// form: peak over the fundamental's amplitude is 0.985 where THD is 0.5 %).
MeterReading meter_reading(const capture::Bench& bench, const capture::Load& load,
                           const std::vector<std::vector<float>>& channels, double rate_hz);

/// Of an input of role clip-detector: its samples pass the threshold (half of full scale where none is
/// given).
bool detector_shows(const capture::Input& input, std::span<const float> samples);

}  // namespace assay::cli
