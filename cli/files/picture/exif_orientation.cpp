#include "cli/files/picture/exif_orientation.h"

namespace assay::cli {
namespace {

constexpr std::uint32_t orientation_tag = 0x0112;
constexpr std::uint32_t short_type = 3;
constexpr std::size_t entry_bytes = 12;

std::uint32_t number(std::string_view bytes, std::size_t at, std::size_t count, bool little) {
    if (!little) return big_endian(bytes, at, count);
    std::uint32_t value = 0;
    for (std::size_t i = count; i-- > 0;) value = value << 8U | static_cast<unsigned char>(bytes[at + i]);
    return value;
}

}  // namespace

std::uint32_t big_endian(std::string_view bytes, std::size_t at, std::size_t count) {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < count; ++i) value = value << 8U | static_cast<unsigned char>(bytes[at + i]);
    return value;
}

std::string big_endian_bytes(std::uint32_t value, std::size_t count) {
    std::string bytes;
    for (std::size_t i = count; i-- > 0;) bytes += static_cast<char>(value >> 8U * i & 0xFFU);
    return bytes;
}

unsigned orientation_of(std::string_view tiff) {
    if (tiff.size() < 8) return 1;
    const bool little = tiff.starts_with("II");
    if (!little && !tiff.starts_with("MM")) return 1;
    const std::size_t first = number(tiff, 4, 4, little);
    if (first > tiff.size() || tiff.size() - first < 2) return 1;
    const std::uint32_t entries = number(tiff, first, 2, little);
    std::size_t at = first + 2;
    for (std::uint32_t i = 0; i < entries && tiff.size() - at >= entry_bytes; ++i, at += entry_bytes) {
        if (number(tiff, at, 2, little) != orientation_tag) continue;
        if (number(tiff, at + 2, 2, little) != short_type || number(tiff, at + 4, 4, little) != 1) return 1;
        const std::uint32_t value = number(tiff, at + 8, 2, little);
        return value >= 1 && value <= 8 ? value : 1;
    }
    return 1;
}

std::string orientation_block(unsigned orientation) {
    return "MM" + big_endian_bytes(42, 2) + big_endian_bytes(8, 4) + big_endian_bytes(1, 2) +
           big_endian_bytes(orientation_tag, 2) + big_endian_bytes(short_type, 2) + big_endian_bytes(1, 4) +
           big_endian_bytes(orientation, 2) + big_endian_bytes(0, 2) + big_endian_bytes(0, 4);
}

}  // namespace assay::cli
