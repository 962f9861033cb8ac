// A field that is a list of tables of numbers, such as readings by meter with their minute.
#pragma once

#include <optional>
#include <vector>

#include "cli/files/toml/toml_table.h"
#include "cli/measures/measure.h"

namespace assay::cli {

/// All rows one after another, the keys in the order of the field's `choices`; NaN for a last one that is
/// left out. Nothing where the key is not there or is wrong, which is complained of.
std::optional<std::vector<double>> read_rows(TomlTable& table, const Field& field);

}  // namespace assay::cli
