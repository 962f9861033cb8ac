// What raw samples tell by themselves, before anything is known of the tone: overload, dropped, held
// and doubled buffers, silence, a recorder that is less than its file format. One pass, constant memory.
//
// These are observations and no verdicts: exact zeros between two steps are a dropped buffer only if
// the tone was not silent there, which the caller knows.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "capture/fault.h"
#include "capture/full_scale.h"
#include "capture/recording.h"

namespace assay::capture {

/// Seconds of the recording, `to_s` being the end of the last sample.
struct Interval {
    double from_s = 0.0;
    double to_s = 0.0;
};

/// Runs of at least two samples at full scale, close ones taken together.
struct FullScaleInterval {
    double from_s = 0.0;
    double to_s = 0.0;
    std::int64_t samples = 0;  // at full scale inside the interval
};

struct HeldValue {
    double from_s = 0.0;
    double to_s = 0.0;
    float value = 0.0F;
};

/// A block that repeats, sample by sample, the block before it.
struct RepeatedBlock {
    double at_s = 0.0;     // where the copy begins
    double block_s = 0.0;  // length of what is repeated
    double lasts_s = 0.0;  // length of the copy: once the block, twice, ...
};

struct RawChannel {
    int channel = 1;
    float peak = 0.0F;  // highest magnitude, full scale 1.0
    double peak_at_s = 0.0;
    double dc = 0.0;      // mean of all samples, full scale 1.0
    bool silent = false;  // nothing but exact zeros
    double leading_zeros_s = 0.0;
    double trailing_zeros_s = 0.0;
    std::vector<Interval> zeros_inside{};  // exact zeros with signal before and after
    std::vector<FullScaleInterval> full_scale_positive{};
    std::vector<FullScaleInterval> full_scale_negative{};
    std::int64_t samples_above_full_scale = 0;  // beyond ±1.0, which only float files can hold
    std::vector<HeldValue> held{};
    std::vector<RepeatedBlock> repeated{};
    bool only_16_bits = false;  // more bits in the file, but the lower ones are always zero
    bool listed_whole = true;   // false: more findings than the lists above hold
};

struct RawChecks {
    std::vector<RawChannel> channels{};            // in the order asked for
    std::vector<std::pair<int, int>> identical{};  // channel numbers that carry the same samples
    std::int64_t frames_read = 0;
};

/// Marks of a finding; common practice, no source.
struct RawCheckLimits {
    double full_scale = capture::full_scale;  // of a sample's magnitude
    double full_scale_merge_s = 0.025;        // gap up to which two runs are one interval: a cycle of 40 Hz
    double shortest_zeros_s = 0.001;
    double shortest_held_s = 0.001;
    double shortest_repeat_s = 0.001;  // length of the doubled block
    double longest_repeat_s = 0.1;
    std::size_t most_findings = 1000;  // of a kind in a channel
};

/// Reads the recording once. Faults are those of RecordingReader.
[[nodiscard]] Result<RawChecks> check_raw(const Recording& recording, std::span<const int> channels,
                                          const RawCheckLimits& limits = {});

}  // namespace assay::capture
