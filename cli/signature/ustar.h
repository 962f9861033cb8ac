// One header block of a ustar archive.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>

namespace assay::cli {

constexpr std::size_t ustar_block = 512;
using UstarBlock = std::array<char, ustar_block>;

struct UstarEntry {
    std::string path{};
    std::uintmax_t bytes = 0;
};

/// Nothing for a path of more than 100 bytes that has no '/' in the right place, or a file of 8 GiB or more.
std::optional<UstarBlock> ustar_header(const UstarEntry& entry);

/// Whether the block says that it is a header of such an archive, damaged or not.
[[nodiscard]] bool is_ustar(const UstarBlock& block);

/// Nothing unless the block is exactly what `ustar_header` gives for some entry.
std::optional<UstarEntry> ustar_entry(const UstarBlock& block);

/// Zeros that fill the last block of a file.
std::size_t ustar_padding(std::uintmax_t bytes);

}  // namespace assay::cli
