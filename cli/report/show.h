// The results of a session as text for a terminal: a table, and what limits each number.
#pragma once

#include <string>

#include "cli/files/session/session.h"

namespace assay::cli {

std::string show_text(const Session& session);

/// "Nordhall Kestrel 2, serial 000123; used", on one line.
std::string unit_text(const Unit& unit);

}  // namespace assay::cli
