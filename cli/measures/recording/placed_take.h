// A take whose tone was found in its recording: which samples belong to which of its steps, volts across the
// loads there, and what speaks against trusting them. For tones whose steps are unlike; a staircase has a
// reader of its own (staircase_reading).
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/signal/alignment.h"
#include "capture/raw_checks.h"
#include "cli/measures/measure.h"

namespace assay::cli {

struct PlacedTake {
    analysis::Placement placement{};
    capture::RawChecks raw{};
    std::vector<int> channels{};                // of all inputs that the test needs, rising
    std::vector<capture::Segment> steps{};      // the tone's segments of role step
    std::vector<std::vector<float>> samples{};  // of each channel, from first_frame on: as much as is needed
    std::int64_t first_frame = 0;               // of the recording
    double rate_hz = 0.0;                       // of the recorder, nominal

    /// Second of the recording where a second of a step lies.
    double at_s(std::size_t step, double seconds) const {
        return placement.step_starts_s[step] + placement.clock_ratio * seconds;
    }
};

/// Reads the samples of all inputs of the test between two seconds, and what the whole recording tells by
/// itself; looks for no tone. Faults: too few channels, a file that cannot be read.
[[nodiscard]] capture::Result<PlacedTake> read_take(const Setup& setup, const Take& take, double from_s,
                                                    double to_s);

/// Finds the tone. Faults: no signal, another signal, cut short, too few channels.
[[nodiscard]] capture::Result<PlacedTake> place_take(const Setup& setup, const Take& take);

/// The same of the first take, which a test that plays once has; without it the fault that nothing was
/// recorded.
[[nodiscard]] capture::Result<PlacedTake> place_take(const Setup& setup, std::span<const Take> takes);

/// Volts between two seconds of the recording, across a load or at one input.
std::vector<double> load_volts(const Setup& setup, const PlacedTake& placed, const capture::Load& load,
                               double from_s, double to_s);
std::vector<double> input_volts(const PlacedTake& placed, const capture::Input& input, double from_s,
                                double to_s);
/// An amplitude that is not so many times its own standard uncertainty is not there.
inline constexpr double signal_to_doubt = 8.0;

/// First sample of such a stretch, as seconds of the recording.
double first_sample_s(const PlacedTake& placed, double from_s);

/// What speaks against a stretch of a step at an input: overload, lost or doubled blocks, the tone gone. The
/// steady parts of a tone may repeat themselves honestly (`steady`).
struct StepTrouble {
    std::string words{};
    bool overload = false;
};
std::optional<StepTrouble> trouble_at(const PlacedTake& placed, const capture::Input& input, std::size_t step,
                                      double from_s, double to_s, bool steady);
/// The same for both ends of a load.
std::optional<StepTrouble> trouble_at(const Setup& setup, const PlacedTake& placed, const capture::Load& load,
                                      std::size_t step, double from_s, double to_s, bool steady);

/// The fault that it makes.
capture::Fault fault_of(const Take& take, const capture::Load& load, const StepTrouble& trouble);

/// Inputs of the test: both ends of its loads, and its reference.
std::vector<std::size_t> inputs_of(const Setup& setup);
/// Their channels, rising.
std::vector<int> channels_of(const Setup& setup);

/// Warns of each scale and resistance that the test's numbers rest on and that states no uncertainty.
void warn_of_exact_scales(const Setup& setup, Numbers& whole);

/// The condition clock_ppm, and a warning where two clocks cannot be that far apart.
void note_clock(double clock_ppm, TestResult& result);

/// Conditions of any test that played one tone: loads, readings, start_s, clock_ppm, the recording's rate and
/// format. Warns of scales that are taken as exact.
void add_take_conditions(const Setup& setup, const Take& take, double start_s, double clock_ppm,
                         TestResult& result);

/// The same without a tone's place.
void add_recording_conditions(const Setup& setup, const Take& take, TestResult& result);

/// Part of the difference that the plus input carries (1 when single-ended), from how both move together.
double plus_share_of(const Setup& setup, const PlacedTake& placed, const capture::Load& load, double from_s,
                     double to_s);

}  // namespace assay::cli
