// The results of a session as text for a terminal: a table, and what limits each number.
#pragma once

#include <string>

#include "cli/files/session.h"

namespace assay::cli {

std::string show_text(const Session& session);

/// "Nordhall Kestrel 2, serial 000123; used", on one line.
std::string unit_text(const Unit& unit);

/// "load resistance gives 81 % of ±6.0 %; measure it with four wires": the source with the largest share of
/// the variance, in plain words, and the cheapest mend.
std::string what_limits(const analysis::Quantity& quantity, const capture::Bench& bench);

/// A value with its expanded uncertainty, rounded together: "46.1 ± 1.4 W".
std::string value_text(const analysis::Quantity& quantity);

}  // namespace assay::cli
