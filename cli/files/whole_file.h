// A small file in one piece, for readers that say themselves what is wrong with it.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <tl/expected.hpp>

namespace assay::cli {

enum class ReadTrouble { missing, too_large, unreadable };

/// The bytes of a plain file, or of one that a link leads to; `missing` is anything else. No more than one
/// byte beyond the limit is read, however large the file says that it is.
[[nodiscard]] tl::expected<std::string, ReadTrouble> whole_file(const std::filesystem::path& path,
                                                                std::size_t most_bytes);

/// The first bytes of anything that can be read, at most so many; nothing where it cannot be.
[[nodiscard]] std::optional<std::string> first_bytes(const std::filesystem::path& path,
                                                     std::size_t most_bytes);

}  // namespace assay::cli
