// What a person must know before the first tone. One text for the command line, PLAY.txt and the help.
#pragma once

#include <string>

#include "cli/measures/job.h"

namespace assay::cli {

/// Those of a kind of unit; nothing hot and nothing bridged hangs at a line unit.
std::string cautions_text(UnitKind kind = UnitKind::amplifier);

}  // namespace assay::cli
