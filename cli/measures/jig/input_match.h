// How the two inputs of an impedance jig differ: driver-side volts over generator-side volts, by the bench's
// scales, with both inputs on one node. From a test of measure `match`, or from a file.
#pragma once

#include <complex>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "cli/measures/measure.h"

namespace assay::cli {

struct MatchPoint {
    double frequency_hz = 0.0;
    std::complex<double> ratio{1.0, 0.0};
    double variance = 0.0;  // of the real part and of the imaginary part, each
};

struct InputMatch {
    std::string generator_side{};  // names of the inputs
    std::string driver_side{};
    double generator_volts_per_unit = 0.0;  // their scales when the match was taken
    double driver_volts_per_unit = 0.0;
    std::vector<MatchPoint> points{};  // by rising frequency, at least one
    /// Source id -> relative change of each point's ratio for one standard uncertainty of it; empty where
    /// both inputs were on one node.
    std::map<std::string, std::vector<std::complex<double>>> relative_doubts{};

    /// Between the points by straight lines, the end points held beyond them.
    MatchPoint at(double frequency_hz) const;
    /// One source's relative change at a frequency.
    std::complex<double> doubt_at(const std::string& source, double frequency_hz) const;
    bool covers(double from_hz, double to_hz) const;
};

/// The match that a test uses: the match test that its field `match` names, else the bench's match file, else
/// none. Brought to the scales that the bench file has now, so that a new calibration of an input does not
/// make it worthless.
[[nodiscard]] capture::Result<std::optional<InputMatch>> match_for(const Setup& setup);

}  // namespace assay::cli
