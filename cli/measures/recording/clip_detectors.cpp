#include "cli/measures/recording/clip_detectors.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "cli/measures/recording/meter.h"
#include "cli/measures/steps/staircase_reading.h"

namespace assay::cli {

namespace {

/// The lowest level of the take's steps during which the detector shows, infinity where it never does;
/// nothing where the samples cannot be read.
std::optional<double> lowest_shown(const Take& take, const StaircaseReading& reading,
                                   const capture::Input& input) {
    double lowest = std::numeric_limits<double>::infinity();
    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return std::nullopt;
    const double rate = take.recording.rate_hz;
    const std::vector<int> channels{input.channel};
    std::size_t step = 0;
    for (const capture::Segment& segment : take.tone.segments) {
        if (segment.role != capture::SegmentRole::step) continue;
        if (step >= reading.placement.step_starts_s.size()) break;
        const double from_s = reading.placement.step_starts_s[step++];
        const auto samples = reader->read(
            channels, static_cast<std::int64_t>(from_s * rate),
            static_cast<std::int64_t>(static_cast<double>(segment.frames) / take.tone.rate_hz * rate));
        if (!samples) return std::nullopt;
        if (detector_shows(input, samples->front())) lowest = std::min(lowest, segment.level_dbfs);
    }
    return lowest;
}

}  // namespace

void add_clip_detectors(const Setup& setup, std::span<const Take> takes, TestResult& result) {
    for (const capture::Input& input : setup.bench->inputs) {
        if (input.role != capture::InputRole::clip_detector) continue;
        double lowest = std::numeric_limits<double>::infinity();
        bool looked = false;
        for (const Take& take : takes) {
            if (input.channel > take.recording.channels) continue;
            const auto reading = read_staircase(setup, take);
            if (!reading) continue;
            const auto shown = lowest_shown(take, *reading, input);
            if (!shown) continue;
            looked = true;
            lowest = std::min(lowest, *shown);
        }
        if (!looked) continue;
        const std::string name = "clip_detector_dbfs." + input.name;
        if (std::isfinite(lowest)) {
            result.conditions.emplace_back(name, lowest);
        } else {
            result.conditions.emplace_back(name, std::string("never"));
        }
    }
}

}  // namespace assay::cli
