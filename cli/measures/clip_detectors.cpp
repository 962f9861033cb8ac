#include "cli/measures/clip_detectors.h"

#include <algorithm>
#include <limits>

#include "cli/measures/meter.h"
#include "cli/measures/staircase_reading.h"

namespace assay::cli {

namespace {

/// The lowest level of the take's steps during which the detector shows.
double lowest_shown(const Take& take, const StaircaseReading& reading, const capture::Input& input) {
    double lowest = std::numeric_limits<double>::infinity();
    auto reader = capture::RecordingReader::open(take.recording);
    if (!reader) return lowest;
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
        if (samples && detector_shows(input, samples->front())) lowest = std::min(lowest, segment.level_dbfs);
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
            looked = true;
            lowest = std::min(lowest, lowest_shown(take, *reading, input));
        }
        if (!looked) continue;
        const std::string name = "clip_detector_dbfs." + input.name;
        if (lowest < 1e6) {
            result.conditions.emplace_back(name, lowest);
        } else {
            result.conditions.emplace_back(name, std::string("never"));
        }
    }
}

}  // namespace assay::cli
