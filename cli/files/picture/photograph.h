// Photographs of the unit: JPEG or PNG, told by their first bytes and not by their names.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "capture/fault.h"

namespace assay::cli {

constexpr std::size_t most_photographs = 12;
constexpr std::size_t most_photograph_bytes = std::size_t{8} << 20U;

/// "image/jpeg" or "image/png"; empty for anything else.
std::string photograph_type(std::string_view bytes);

/// The whole file. Faults of kind bad_input_file: not there, larger than 8 MiB, no JPEG or PNG.
[[nodiscard]] capture::Result<std::string> read_photograph(const std::filesystem::path& path);

/// "data:image/jpeg;base64,...": RFC 2397, RFC 4648.
std::string data_address(std::string_view bytes);

}  // namespace assay::cli
