// From the lines of a jig's recording to a corrected impedance curve, and whether the jig is wired as the
// bench file says.
#pragma once

#include <optional>

#include "analysis/driver/impedance_curve.h"
#include "analysis/driver/jig_correction.h"
#include "cli/measures/jig/input_match.h"
#include "cli/measures/jig/jig_take.h"

namespace assay::cli {

analysis::JigModel jig_model(const capture::ImpedanceJig& jig);

struct JigCurve {
    analysis::ImpedanceCurve curve{};
    std::size_t disturbed = 0;   // lines left out: something else sounded there
    std::size_t weak = 0;        // lines left out: not above the noise
    double weak_below_hz = 0.0;  // highest frequency up to which most lines are weak; 0 for none
};

JigCurve curve_of_transfer(const Setup& setup, const analysis::LineTransfer& transfer,
                           const std::optional<InputMatch>& match);

/// Fault: inputs swapped or reversed, nothing or a short in the jig, no signal at a side.
[[nodiscard]] capture::Result<void> check_wiring(const Setup& setup, const Take& take,
                                                 const analysis::LineTransfer& transfer,
                                                 const std::optional<InputMatch>& match);

/// RMS volts across the driver of all lines between two frequencies: what the driver-side input reads, or
/// with the resistor at the driver's lower end the difference of the two inputs, brought to each other by the
/// match.
analysis::Quantity driver_volts(const Setup& setup, const analysis::LineTransfer& transfer,
                                const std::optional<InputMatch>& match, double from_hz, double to_hz);

}  // namespace assay::cli
