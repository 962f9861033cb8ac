#include "cli/measures/jig/input_match.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/files/curves/match_file.h"
#include "cli/measures/match.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

struct Place {
    std::size_t below = 0;
    std::size_t above = 0;
    double part = 0.0;  // of the way from below to above
};

Place place_of(const std::vector<MatchPoint>& points, double frequency_hz) {
    const auto above =
        std::lower_bound(points.begin(), points.end(), frequency_hz,
                         [](const MatchPoint& point, double f) { return point.frequency_hz < f; });
    const auto index = static_cast<std::size_t>(above - points.begin());
    if (index == 0) return {};
    if (above == points.end()) return {points.size() - 1, points.size() - 1, 0.0};
    const double low = points[index - 1].frequency_hz;
    return {index - 1, index, (frequency_hz - low) / (points[index].frequency_hz - low)};
}

/// To the scales of the bench as it is now: the samples' ratio is what was measured.
Result<InputMatch> at_present_scales(InputMatch match, const Setup& setup, const std::string& file) {
    const capture::ImpedanceJig& jig = *setup.bench->jig;
    const capture::Input& generator = setup.bench->inputs[jig.generator_side];
    const capture::Input& driver = setup.bench->inputs[jig.driver_side];
    if (match.generator_side != generator.name || match.driver_side != driver.name) {
        return capture::fail(
            FaultKind::bad_input_file,
            fmt::format("{}: is the match of inputs \"{}\" and \"{}\", the jig has \"{}\" and \"{}\"", file,
                        match.generator_side, match.driver_side, generator.name, driver.name),
            "take the match again with the jig's inputs");
    }
    if (match.driver_volts_per_unit == 0.0 || match.generator_volts_per_unit == 0.0) return match;
    const double change = driver.volts_per_unit() / match.driver_volts_per_unit *
                          match.generator_volts_per_unit / generator.volts_per_unit();
    // A new calibration moves a scale by a few per cent; a turned gain knob or another divider by more.
    if (!(std::abs(change - 1.0) < 0.1)) {
        return capture::fail(
            FaultKind::bad_input_file,
            fmt::format("{}: was taken when the inputs' scales stood {:.3g} times otherwise to each "
                        "other",
                        file, 1.0 / change),
            "take the match again with the inputs as they are now");
    }
    for (MatchPoint& point : match.points) {
        point.ratio *= change;
        point.variance *= change * change;
    }
    return match;
}

}  // namespace

MatchPoint InputMatch::at(double frequency_hz) const {
    const Place place = place_of(points, frequency_hz);
    const MatchPoint& low = points[place.below];
    const MatchPoint& high = points[place.above];
    // The variance is not made smaller by the mixing of two points: their neighbours use them too.
    return {frequency_hz, low.ratio + place.part * (high.ratio - low.ratio),
            std::max(low.variance, high.variance)};
}

std::complex<double> InputMatch::doubt_at(const std::string& source, double frequency_hz) const {
    const auto found = relative_doubts.find(source);
    if (found == relative_doubts.end()) return {};
    const Place place = place_of(points, frequency_hz);
    return found->second[place.below] +
           place.part * (found->second[place.above] - found->second[place.below]);
}

bool InputMatch::covers(double from_hz, double to_hz) const {
    // A line to the next: the tones of the two tests may begin on lines beside each other.
    return points.front().frequency_hz <= 1.05 * from_hz && points.back().frequency_hz >= to_hz / 1.05;
}

Result<std::optional<InputMatch>> match_for(const Setup& setup) {
    const auto id = setup.test->text("match");
    if (id && !id->empty()) {
        const auto named = setup.named ? setup.named(*id) : std::nullopt;
        if (!named || named->test == nullptr || named->test->measure != "match") {
            return capture::fail(FaultKind::bad_input_file,
                                 fmt::format("match: the job has no match test \"{}\"", *id),
                                 "name a test of measure match");
        }
        if (named->takes.empty()) {
            return capture::fail(FaultKind::untrusted_capture,
                                 fmt::format("match: the test \"{}\" has no recording by now", *id),
                                 "put the match test before the tests that use it, and record it");
        }
        Setup other = setup;
        other.test = named->test;
        auto match = match_of(other, named->takes);
        if (!match) {
            capture::Fault fault = match.error();
            fault.text = fmt::format("match test \"{}\": {}", *id, fault.text);
            return tl::unexpected<capture::Fault>(fault);
        }
        return std::optional<InputMatch>(std::move(*match));
    }
    if (!setup.bench->jig || setup.bench->jig->match_file.empty()) return std::optional<InputMatch>{};
    const std::string& file = setup.bench->jig->match_file;
    auto match = read_match(setup.folder / file);
    if (!match) return tl::unexpected<capture::Fault>(match.error());
    auto present = at_present_scales(std::move(*match), setup, file);
    if (!present) return tl::unexpected<capture::Fault>(present.error());
    return std::optional<InputMatch>(std::move(*present));
}

}  // namespace assay::cli
