// Curves against frequency: gain with phase, separation, power, output impedance; one line a load.
#pragma once

#include <string>

#include "capture/fault.h"
#include "cli/files/session.h"

namespace assay::cli {

/// Whether the test has a curve of one of these kinds with at least two points.
bool has_frequency_plot(const TestRecord& record);

/// The SVG document, without the page around it. Fault: gnuplot is not there or fails.
[[nodiscard]] capture::Result<std::string> frequency_plot(const Session& session, const TestRecord& record);

/// "response", "separation", "power", "output-impedance": the end of the plot's file name; empty for others.
std::string frequency_plot_kind(const std::string& measure);

/// What the plot of a kind shows, in plain words; empty if it is none of these.
std::string frequency_plot_caption(const std::string& file);

}  // namespace assay::cli
