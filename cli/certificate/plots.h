// The drawing of a test, whatever its measure draws.
#pragma once

#include <string>

#include "cli/files/session.h"

namespace assay::cli {

bool has_plot(const Session& session, const TestRecord& record);

/// The SVG document. A fault where nothing can be drawn, or gnuplot is not there.
[[nodiscard]] capture::Result<std::string> plot_of(const Session& session, const TestRecord& record);

}  // namespace assay::cli
