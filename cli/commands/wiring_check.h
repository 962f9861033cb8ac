// The wiring, heard at -40 dBFS before anything louder: each output alone, and which inputs hear it. Named:
// swapped, dead and doubled channels, halves of a bridge that move together, opposite polarity, hum of a
// missing ground, a scale that cannot be.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "capture/device/device.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// The tone of an input as one output alone gives it.
struct HeardInput {
    bool present = false;
    double volts_rms = 0.0;  // at the probe tip
    double phase_rad = 0.0;  // re the loudest input of the take
    double hum_v = 0.0;      // RMS of what is there without the tone
    bool mains = false;      // that is a multiple of 50 or 60 Hz
};

struct HeardOutput {
    std::size_t output = 0;  // index into Bench::outputs
    std::vector<HeardInput> inputs{};
};

inline constexpr double wiring_level_dbfs = -40.0;

/// What is wrong, as a fault of kind untrusted_capture, or the lines that tell what was heard.
[[nodiscard]] capture::Result<std::vector<std::string>> judge_wiring(const Setup& setup,
                                                                     const std::vector<HeardOutput>& heard,
                                                                     double level_dbfs);

struct WiringTakes {
    std::vector<std::string> lines{};
    std::vector<Take> takes{};
};

/// Plays and judges. The recordings go to `into`; a test without loads has no wiring of this kind.
[[nodiscard]] capture::Result<WiringTakes> check_wiring(const Setup& setup, capture::Device& device,
                                                        const std::filesystem::path& into,
                                                        const std::atomic<bool>& stop);

}  // namespace assay::cli
