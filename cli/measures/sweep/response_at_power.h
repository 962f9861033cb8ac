// A response at a power that is asked for. Recordings made elsewhere hold sweeps at rising levels, and the
// response is read between the two whose volts enclose those of the power; on a live bench a quiet tone tells
// the gain, and one sweep follows at the level that it tells.
#pragma once

#include <variant>
#include <vector>

#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

/// The next tone of such a test.
std::optional<capture::Tone> next_response_at_power(const Setup& setup, std::span<const Take> takes);

/// The tone of sweeps at these levels, of the test's band.
capture::Tone response_tone_of(const Setup& setup, const std::vector<double>& levels_dbfs);

struct ResponseAtPower {
    /// One for each load, all loads in each: as they are where that load gets the power.
    std::vector<std::variant<ResponseReading, analysis::Absent>> loads{};
    bool between = false;  // read between two sweeps
};

/// Faults are what makes a recording worthless.
[[nodiscard]] capture::Result<ResponseAtPower> read_response_at_power(const Setup& setup,
                                                                      std::span<const Take> takes);

/// Warns where the power that a live bench came to is another than that asked for, and where the gain bends
/// between the two sweeps.
void remark_on_power(const Setup& setup, const capture::Load& load, const ResponseReading& reading,
                     std::size_t l, Numbers& numbers);

}  // namespace assay::cli
