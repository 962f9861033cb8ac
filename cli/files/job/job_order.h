// The order in which the tests of a job are made.
#pragma once

#include <vector>

#include "cli/measures/job.h"

namespace assay::cli {

/// A test that another one names (`loaded`, `floor`, `match`, ...) is made before it; apart from that the
/// order stays, since it is that of somebody who moves leads.
void put_after_those_named(std::vector<Test>& tests);

}  // namespace assay::cli
