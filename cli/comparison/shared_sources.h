// Which causes of doubt two sessions share. Internal to the comparison.
#pragma once

#include <set>
#include <string>

#include "capture/bench.h"

namespace assay::cli {

/// Parts of the bench that both have, alike in every key, as the beginnings of the ids of their sources:
/// "input:probe-a", "meter:bench-meter", "load:load-a", "jig".
std::set<std::string> shared_parts(const capture::Bench& left, const capture::Bench& right);

bool is_shared(const std::string& source_id, const std::set<std::string>& parts);

}  // namespace assay::cli
