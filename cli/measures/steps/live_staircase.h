// Clipping power on a live bench: short runs of steps that go up from a low level, approach the highest limit
// in small steps, then close in on each limit and on the onset of clipping. A few tenths of a second at the
// top are all that load and unit have to bear, and the search ends where something is wrong.
//
// The takes of such a search are read as one staircase, its steps in the order of their levels. Every take
// after the first begins with the loudest level of the first once more: if its volts have moved, something
// has warmed up or a hand was on the knob.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "cli/measures/measure.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

struct LiveStaircase {
    double from_dbfs = -50.0;
    double to_dbfs = 0.0;
    double frequency_hz = 997.0;
    std::vector<double> limits{};  // ratios of distortion
    bool limit_on_noise_too = false;
    std::string code{};
};

LiveStaircase live_plan(const Setup& setup);

struct LiveReading {
    StaircaseReading steps{};
    /// Why the search ended before its time, empty if it did not: overload, dropout, collapse, fade.
    std::string stopped_by{};
    std::size_t repeated_runs = 0;  // that a dropout had ended
    double fade_db = 0.0;           // of the repeated level, largest change over the search
};

/// All takes as one. One take is read as it is. A take that cannot be read after the first adds its steps as
/// ones that cannot be trusted, so that no limit is looked for across them.
[[nodiscard]] capture::Result<LiveReading> read_takes(const Setup& setup, std::span<const Take> takes);

/// How a live search went, into the conditions; why it ended before its time, as a warning. Nothing for a
/// recording that was made elsewhere.
void add_search(const LiveReading& read, std::span<const Take> takes, TestResult& result);

/// The next run, or nothing: all limits and the onset are closed in on, the top is reached, or it was
/// stopped.
std::optional<capture::Tone> next_live_tone(const Setup& setup, std::span<const Take> takes,
                                            const LiveStaircase& plan);

}  // namespace assay::cli
