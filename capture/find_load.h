// The load of a name.
#pragma once

#include <string>

#include "capture/bench.h"

namespace assay::capture {

/// Nothing where the bench has none of that name.
const Load* find_load(const Bench& bench, const std::string& name);

}  // namespace assay::capture
