// The coil's resistance by meter against what the curves say by themselves.
#pragma once

#include <optional>

#include "analysis/driver/parameters.h"

namespace assay::analysis {

struct MeterDisagreement {
    Remark remark{};
    bool by_far = false;  // more than leads or a worn scale do
};

/// Where the meter is off by more than both doubts (three standard uncertainties, at least 1 %) from what
/// `alone`, the fit of the curves in free air without it, found. A fit that holds the meter as well is no
/// judge of it: it bends a coil's loss until it makes up for what is missing.
std::optional<MeterDisagreement> meter_disagreement(const DriverInputs& inputs, const FitInputs& without,
                                                    const Fit& alone);

/// The driver by its curves alone, since the meter contradicts them. By far: either may be wrong, the meter
/// or the scale of the jig, so that what hangs on ohms is absent; the rest (frequency, Q, moving mass, Vas)
/// depends on neither.
DriverResult without_meter(DriverInputs inputs, const MeterDisagreement& why);

}  // namespace assay::analysis
