// BLAKE2b (RFC 7693) of texts and files, and short fingerprints for people to compare.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

using Bytes = std::vector<std::uint8_t>;

/// Of the hash that is used throughout: BLAKE2b-256.
constexpr std::size_t hash_bytes = 32;

/// `size` from 16 to 64 bytes; `key` empty or up to 64 bytes.
Bytes blake2b(std::string_view message, std::size_t size = hash_bytes, std::string_view key = {});

/// BLAKE2b-256 as 64 small hexadecimal digits.
std::string hash_text(std::string_view message);

struct FileHash {
    std::uintmax_t bytes = 0;
    std::string blake2b{};
};
/// Reads block by block, so that an hour's recording needs no memory. A link is not followed.
[[nodiscard]] capture::Result<FileHash> hash_file(const std::filesystem::path& path);

std::string hex_text(std::span<const std::uint8_t> bytes);
/// Exactly `size` bytes as small hexadecimal digits; empty if it is anything else.
Bytes bytes_from_hex(std::string_view text, std::size_t size);

/// The first 120 bits of a hash in six groups of four letters and digits without I, L, O, U:
/// "7K3M-Q2XV-...". Two things with equal fingerprints do not come about by chance or by trying.
std::string fingerprint(std::span<const std::uint8_t> hash);

}  // namespace assay::cli
