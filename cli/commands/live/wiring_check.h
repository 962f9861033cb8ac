// The wiring, heard at -40 dBFS before anything louder: each output alone, and which inputs hear it. Named:
// swapped, dead and doubled channels, halves of a bridge that move together, opposite polarity, hum of a
// missing ground, a scale that cannot be.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "capture/device/device.h"
#include "cli/commands/live/heard_tone.h"
#include "cli/commands/live/scale_check.h"
#include "cli/measures/measure.h"

namespace assay::cli {

inline constexpr double wiring_level_dbfs = -40.0;

/// What is wrong, as a fault of kind untrusted_capture, or the lines that tell what was heard.
[[nodiscard]] capture::Result<std::vector<std::string>> judge_wiring(const Setup& setup,
                                                                     const std::vector<HeardOutput>& heard,
                                                                     double level_dbfs);

struct WiringTakes {
    std::vector<std::string> lines{};
    std::vector<Take> takes{};
    std::vector<TrustRemark> remarks{};
};

/// Plays and judges. The recordings go to `into`; a test without loads has no wiring of this kind.
/// `rate_too`: listens for a change of rates as well (rate_check.h).
[[nodiscard]] capture::Result<WiringTakes> check_wiring(const Setup& setup, capture::Device& device,
                                                        const std::filesystem::path& into, bool rate_too,
                                                        const std::atomic<bool>& stop);

}  // namespace assay::cli
