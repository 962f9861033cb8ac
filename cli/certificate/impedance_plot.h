// A driver's impedance as a drawing: magnitude and phase against frequency, what was measured as points, the
// fitted model as a line over them, and what the model leaves as a panel below. Free air, with mass and in
// the box lie over one another.
#pragma once

#include <string>

#include "cli/files/session.h"

namespace assay::cli {

/// A test has one when it holds a curve `fit` (driver-parameters) or `impedance`. An impedance test whose
/// curve is drawn with its model already, by a driver-parameters test of the session, has none of its own.
bool has_impedance_plot(const Session& session, const TestRecord& record);

[[nodiscard]] capture::Result<std::string> impedance_plot(const Session& session, const TestRecord& record);

}  // namespace assay::cli
