#include "cli/files/whole_file.h"

#include <algorithm>
#include <array>
#include <fstream>
#include <utility>

namespace assay::cli {

tl::expected<std::string, ReadTrouble> whole_file(const std::filesystem::path& path, std::size_t most_bytes) {
    std::error_code error;
    if (!std::filesystem::is_regular_file(path, error)) return tl::unexpected(ReadTrouble::missing);
    auto bytes = first_bytes(path, most_bytes + 1);
    if (!bytes) return tl::unexpected(ReadTrouble::unreadable);
    if (bytes->size() > most_bytes) return tl::unexpected(ReadTrouble::too_large);
    return std::move(*bytes);
}

std::optional<std::string> first_bytes(const std::filesystem::path& path, std::size_t most_bytes) {
    std::ifstream file(path, std::ios::binary);
    std::string bytes;
    std::array<char, 65536> buffer{};
    while (file && bytes.size() < most_bytes) {
        const std::size_t wanted = std::min(buffer.size(), most_bytes - bytes.size());
        file.read(buffer.data(), static_cast<std::streamsize>(wanted));
        bytes.append(buffer.data(), static_cast<std::size_t>(file.gcount()));
    }
    if (!file.is_open() || file.bad()) return std::nullopt;
    return bytes;
}

}  // namespace assay::cli
