// Power against the supply's volts as a drawing, for sessions that measured the same on three supplies or
// more.
#pragma once

#include <optional>

#include "cli/certificate/plots/test_plot.h"

namespace assay::cli {

constexpr const char* supply_plot_file = "power-supply.svg";
constexpr const char* supply_plot_caption = "Power against the volts of the supply, with its uncertainty.";

/// Watts of all loads together at the headline's limit, with their uncertainty.
std::optional<TestPlot> supply_plot(const Session& session);

}  // namespace assay::cli
