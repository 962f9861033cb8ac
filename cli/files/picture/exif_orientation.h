// Which way up a picture is shown: the one entry of a camera's notes that the picture needs (tag 0x0112,
// CIPA DC-008, 4.6.4).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace assay::cli {

/// 1 (as it is) to 8, of a block in the form of TIFF; 1 where it is not stated or makes no sense.
unsigned orientation_of(std::string_view tiff);

/// A block in the form of TIFF with this entry only.
std::string orientation_block(unsigned orientation);

/// Number of 16 or 32 bits at `at`, most significant byte first; the caller knows that it is there.
std::uint32_t big_endian(std::string_view bytes, std::size_t at, std::size_t count);
std::string big_endian_bytes(std::uint32_t value, std::size_t count);

}  // namespace assay::cli
