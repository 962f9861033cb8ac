// How deep a TOML text nests, found without recursion, before a recursive parser may see it.
#pragma once

#include <optional>
#include <string_view>

namespace assay::cli {

/// First line on which brackets and dotted keys together nest deeper than `limit`, none if there is none.
/// Quotes and comments are skipped as in TOML 1.0; of a text that is not TOML only safety is promised.
std::optional<int> line_deeper_than(std::string_view text, int limit);

}  // namespace assay::cli
