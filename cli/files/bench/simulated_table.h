// The [simulated] table of a bench file: what the simulated bench is made of.
#pragma once

#include "capture/simulated/settings.h"
#include "cli/files/toml/toml_table.h"

namespace assay::cli {

void read_simulated(const TomlNode& node, capture::SimulatedBench& bench, Complaints& complaints);

}  // namespace assay::cli
