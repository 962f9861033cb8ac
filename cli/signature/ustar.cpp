#include "cli/signature/ustar.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstring>

namespace assay::cli {
namespace {

// Offsets and lengths of the fields, IEEE Std 1003.1, pax, table "ustar Header Block".
struct Place {
    std::size_t at = 0;
    std::size_t length = 0;
};
constexpr Place name_field{0, 100};
constexpr Place mode_field{100, 8};
constexpr Place user_field{108, 8};
constexpr Place group_field{116, 8};
constexpr Place size_field{124, 12};
constexpr Place time_field{136, 12};
constexpr Place sum_field{148, 8};
constexpr std::size_t type_at = 156;
constexpr std::size_t magic_at = 257;
constexpr Place prefix_field{345, 155};
constexpr std::uintmax_t most_file_bytes = 077777777777;  // eleven octal digits

void put(UstarBlock& block, const Place& place, const std::string& text) {
    std::memcpy(block.data() + place.at, text.data(), std::min(text.size(), place.length));
}

std::string get(const UstarBlock& block, const Place& place) {
    const char* start = block.data() + place.at;
    return {start, std::find(start, start + place.length, '\0')};
}

}  // namespace

std::optional<UstarBlock> ustar_header(const UstarEntry& entry) {
    if (entry.bytes > most_file_bytes || entry.path.empty()) return std::nullopt;
    std::string name = entry.path;
    std::string prefix;
    if (name.size() > name_field.length) {
        // The longest name that still fits behind a '/'.
        const std::size_t cut = entry.path.find('/', entry.path.size() - name_field.length - 1);
        if (cut > prefix_field.length) return std::nullopt;  // no slash at all is npos
        prefix = entry.path.substr(0, cut);
        name = entry.path.substr(cut + 1);
    }
    UstarBlock block{};
    put(block, name_field, name);
    put(block, mode_field, "0000644");
    put(block, user_field, "0000000");
    put(block, group_field, "0000000");
    put(block, size_field, fmt::format("{:011o}", entry.bytes));
    put(block, time_field, "00000000000");
    block[type_at] = '0';
    std::memcpy(block.data() + magic_at, "ustar\00000", 8);
    put(block, prefix_field, prefix);
    put(block, sum_field, "        ");
    unsigned sum = 0;
    for (const char byte : block) sum += static_cast<unsigned char>(byte);
    put(block, sum_field, fmt::format("{:06o}", sum) + std::string("\0 ", 2));
    return block;
}

bool is_ustar(const UstarBlock& block) {
    return std::memcmp(block.data() + magic_at, "ustar", 6) == 0;
}

std::optional<UstarEntry> ustar_entry(const UstarBlock& block) {
    UstarEntry entry;
    const std::string prefix = get(block, prefix_field);
    entry.path = (prefix.empty() ? "" : prefix + "/") + get(block, name_field);
    for (const char digit : get(block, size_field)) {
        if (digit < '0' || digit > '7') return std::nullopt;
        entry.bytes = 8 * entry.bytes + static_cast<std::uintmax_t>(digit - '0');
    }
    const auto again = ustar_header(entry);
    if (!again || *again != block) return std::nullopt;
    return entry;
}

std::size_t ustar_padding(std::uintmax_t bytes) {
    const auto rest = static_cast<std::size_t>(bytes % ustar_block);
    return rest == 0 ? 0 : ustar_block - rest;
}

}  // namespace assay::cli
