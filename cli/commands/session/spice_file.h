// A driver's circuit as a subcircuit in the language that circuit simulators of the SPICE family share: R, L
// and C with numbers in full, nodes by number, comments with an asterisk.
#pragma once

#include <string>
#include <vector>

#include "analysis/driver/equivalent_circuit.h"

namespace assay::cli {

/// ".subckt driver plus minus" with the comments above it.
std::string spice_subcircuit(const analysis::EquivalentCircuit& circuit,
                             const std::vector<std::string>& comments);

}  // namespace assay::cli
