#include "capture/wav_header.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <fstream>
#include <system_error>

namespace assay::capture {

namespace {

std::uint64_t little_endian(const char* bytes, int count) {
    std::uint64_t value = 0;
    for (int i = count - 1; i >= 0; --i) value = value << 8U | static_cast<unsigned char>(bytes[i]);
    return value;
}

// What recorders and pipes write while they do not know the length yet: zero, or the highest number
// of 32 or 31 bits, often rounded down to whole blocks.
bool stands_for_unknown(std::uint64_t size) {
    return size == 0 || (size >= 0xFFFFF000U && size <= 0xFFFFFFFFU) ||
           (size >= 0x7FFFF000U && size <= 0x7FFFFFFFU);
}

constexpr std::int64_t four_gib = std::int64_t{1} << 32U;
constexpr std::int64_t room_for_tags = 16 << 20;

WavLength judge(std::uint64_t announced, std::int64_t rest) {
    WavLength length;
    length.announced_bytes = static_cast<std::int64_t>(std::min<std::uint64_t>(announced, INT64_MAX));
    length.held_bytes = std::min(length.announced_bytes, rest);
    if (length.announced_bytes > rest || (announced == 0 && rest > 0)) {
        length.verdict =
            stands_for_unknown(announced) ? WavLength::Verdict::unknown : WavLength::Verdict::cut_short;
        length.held_bytes = rest;
    } else if (rest - length.announced_bytes > four_gib - room_for_tags) {
        length.verdict = WavLength::Verdict::wrapped;
    }
    return length;
}

}  // namespace

std::optional<WavLength> read_wav_length(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::array<char, 12> riff{};
    if (!file.read(riff.data(), riff.size()) || std::memcmp(riff.data() + 8, "WAVE", 4) != 0)
        return std::nullopt;
    const bool rf64 = std::memcmp(riff.data(), "RF64", 4) == 0;
    if (!rf64 && std::memcmp(riff.data(), "RIFF", 4) != 0) return std::nullopt;

    std::error_code error;
    const auto file_bytes = static_cast<std::int64_t>(std::filesystem::file_size(path, error));
    if (error) return std::nullopt;

    std::uint64_t data_bytes_of_ds64 = 0;
    std::int64_t position = 12;
    std::array<char, 8> head{};
    while (file.seekg(position) && file.read(head.data(), head.size())) {
        const std::uint64_t size = little_endian(head.data() + 4, 4);
        position += 8;
        if (std::memcmp(head.data(), "data", 4) == 0) {
            const bool size_elsewhere = rf64 && size == 0xFFFFFFFFU;
            return judge(size_elsewhere ? data_bytes_of_ds64 : size, file_bytes - position);
        }
        if (rf64 && std::memcmp(head.data(), "ds64", 4) == 0) {
            std::array<char, 16> sizes{};
            if (!file.read(sizes.data(), sizes.size())) break;
            data_bytes_of_ds64 = little_endian(sizes.data() + 8, 8);
        }
        position += static_cast<std::int64_t>(size + size % 2);
    }
    return WavLength{.verdict = WavLength::Verdict::no_samples};
}

}  // namespace assay::capture
