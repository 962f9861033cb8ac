// The level curve of a test as a drawing: distortion against power (or against volts, where there are no
// watts), all loads on one sheet, with the distortion limits, what was claimed, and where clipping begins.
#pragma once

#include <string>

#include "cli/files/session.h"

namespace assay::cli {

/// Has the test a curve `level` to draw?
bool has_level_curve(const TestRecord& record);

/// The SVG document. Both axes are logarithmic, as distortion covers several decades; points without a
/// positive power and distortion are left out.
[[nodiscard]] capture::Result<std::string> level_plot(const Session& session, const TestRecord& record);

}  // namespace assay::cli
