// Power against the supply's volts as a drawing, for sessions that measured the same on three supplies or
// more.
#pragma once

#include <string>

#include "cli/files/session.h"

namespace assay::cli {

constexpr const char* supply_plot_file = "power-supply.svg";

bool has_supply_plot(const Session& session);

/// The SVG document: watts of all loads together at the headline's limit, with their uncertainty.
[[nodiscard]] capture::Result<std::string> supply_plot(const Session& session);

}  // namespace assay::cli
