// What a person must know before the first tone. One text for the command line, PLAY.txt and the help.
#pragma once

#include <cstddef>
#include <string>

#include "cli/measures/job.h"

namespace assay::cli {

/// Of the narrowest terminal that is common, and of a sheet of paper.
inline constexpr std::size_t common_columns = 79;

/// Those columns, or fewer where the terminal has fewer.
std::size_t columns_for_cautions();

/// Those of a kind of unit; nothing hot and nothing bridged hangs at a line unit.
std::string cautions_text(UnitKind kind = UnitKind::amplifier, std::size_t columns = columns_for_cautions());

}  // namespace assay::cli
