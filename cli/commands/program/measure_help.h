// The measures with their fields and quantities, as help text from the one table.
#pragma once

#include <string>

namespace assay::cli {

std::string measures_help();

}  // namespace assay::cli
