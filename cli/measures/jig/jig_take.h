// A recording of the impedance tone, placed and read: the ratio of the jig's two voltages line by line at
// both levels, and what speaks against trusting it.
#pragma once

#include <map>
#include <optional>
#include <string>

#include "analysis/driver/line_transfer.h"
#include "cli/measures/measure.h"

namespace assay::cli {

struct JigTake {
    double start_s = 0.0;  // of the tone's first frame in the recording
    double clock_ppm = 0.0;
    double level_dbfs = 0.0;                       // of the tone, as asked
    analysis::LineTransfer full{};                 // in volts by the bench's scales, before any match
    std::optional<analysis::LineTransfer> half{};  // at half the level; nothing if that part is spoiled
    std::string half_trouble{};                    // why
    double generator_peak_dbfs = -200.0;           // sample peaks within the full step
    double driver_peak_dbfs = -200.0;
};

/// A driver's takes serve their own test and driver-parameters. By path, length and time of the file.
struct ReadTakes {
    std::map<std::string, JigTake> jig{};
};

/// Faults are what makes the recording worthless: no signal, another signal, cut short, backwards, overload,
/// blocks lost or doubled while it is measured.
[[nodiscard]] capture::Result<JigTake> read_jig_take(const Setup& setup, const Take& take);

/// start_s, clock_ppm, levels, the recording's rate and format.
void add_jig_conditions(const Setup& setup, const Take& take, const JigTake& reading, TestResult& result);

}  // namespace assay::cli
