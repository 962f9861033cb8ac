// What a reader of a response must know of the sweep and of the sound card that made it.
#pragma once

#include <cstddef>

#include "capture/bench.h"
#include "cli/measures/sweep/card_response.h"
#include "cli/measures/sweep/response_reading.h"

namespace assay::cli {

/// Warnings for load `l` of the reading: level not held, recorder not clean, loopback old, exact or missing.
void remark_on_sweep(const ResponseReading& reading, std::size_t l, const capture::Input& input,
                     const LoadCardResponse& card, Numbers& numbers);

}  // namespace assay::cli
