// From the takes of an impedance test, or from the file that it names, to its corrected curve. The one way
// that `impedance` and every measure derived from it go, so that none works on rounded numbers.
#pragma once

#include <optional>
#include <span>

#include "analysis/driver/impedance_curve.h"
#include "cli/measures/jig/input_match.h"
#include "cli/measures/jig/jig_curve.h"
#include "cli/measures/jig/jig_take.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// Faults: what makes the capture or the file worthless.
[[nodiscard]] capture::Result<analysis::ImpedanceCurve> impedance_curve_of(const Setup& setup,
                                                                           std::span<const Take> takes);

/// The same with what it was made of.
struct ImpedanceReading {
    JigCurve full{};
    std::optional<JigTake> take{};         // nothing: the curve is from a file
    std::optional<JigCurve> half_level{};  // nothing: from a file, or that part is spoiled
    std::optional<InputMatch> match{};
};
[[nodiscard]] capture::Result<ImpedanceReading> read_impedance(const Setup& setup,
                                                               std::span<const Take> takes);

}  // namespace assay::cli
