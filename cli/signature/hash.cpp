#include "cli/signature/hash.h"

#include <sodium.h>

#include <array>
#include <cassert>
#include <fstream>

#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

const unsigned char* bytes_of(std::string_view text) {
    return reinterpret_cast<const unsigned char*>(text.data());
}

}  // namespace

Bytes blake2b(std::string_view message, std::size_t size, std::string_view key) {
    assert(size >= crypto_generichash_BYTES_MIN && size <= crypto_generichash_BYTES_MAX);
    Bytes out(size);
    crypto_generichash(out.data(), out.size(), bytes_of(message), message.size(),
                       key.empty() ? nullptr : bytes_of(key), key.size());
    return out;
}

std::string hash_text(std::string_view message) {
    return hex_text(blake2b(message));
}

capture::Result<FileHash> hash_file(const std::filesystem::path& path) {
    const std::string shown = visible_text(path.string(), 200);
    std::error_code error;
    const auto status = std::filesystem::symlink_status(path, error);
    if (!std::filesystem::is_regular_file(status)) {
        return capture::fail(capture::FaultKind::bad_input_file, shown + ": is not a plain file",
                             "put the file itself there, not a link or a folder");
    }
    std::ifstream file(path, std::ios::binary);
    // libsodium wants its state at addresses that are multiples of 64.
    alignas(64) crypto_generichash_state state{};
    crypto_generichash_init(&state, nullptr, 0, hash_bytes);
    constexpr std::size_t block = std::size_t{1} << 16U;
    std::vector<char> buffer(block);
    FileHash found;
    while (file) {
        file.read(buffer.data(), static_cast<std::streamsize>(buffer.size()));
        const auto count = static_cast<std::size_t>(file.gcount());
        crypto_generichash_update(&state, reinterpret_cast<const unsigned char*>(buffer.data()), count);
        found.bytes += count;
    }
    if (!file.eof()) {
        return capture::fail(capture::FaultKind::bad_input_file, shown + ": cannot be read",
                             "check the disk and the file's permissions");
    }
    std::array<std::uint8_t, hash_bytes> out{};
    crypto_generichash_final(&state, out.data(), out.size());
    found.blake2b = hex_text(out);
    return found;
}

std::string hex_text(std::span<const std::uint8_t> bytes) {
    constexpr std::string_view digits = "0123456789abcdef";
    std::string text;
    for (const std::uint8_t byte : bytes) {
        text += digits[byte >> 4U];
        text += digits[byte & 15U];
    }
    return text;
}

Bytes bytes_from_hex(std::string_view text, std::size_t size) {
    if (text.size() != 2 * size) return {};
    Bytes out;
    unsigned high = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char letter = text[i];
        unsigned digit = 0;
        if (letter >= '0' && letter <= '9') {
            digit = static_cast<unsigned>(letter - '0');
        } else if (letter >= 'a' && letter <= 'f') {
            digit = static_cast<unsigned>(letter - 'a') + 10U;
        } else {
            return {};
        }
        if (i % 2 == 0) {
            high = digit;
        } else {
            out.push_back(static_cast<std::uint8_t>(16U * high + digit));
        }
    }
    return out;
}

std::string fingerprint(std::span<const std::uint8_t> hash) {
    constexpr std::string_view letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    constexpr std::size_t symbols = 24;
    assert(8 * hash.size() >= 5 * symbols);
    std::string text;
    for (std::size_t i = 0; i < symbols; ++i) {
        unsigned value = 0;
        for (std::size_t bit = 5 * i; bit < 5 * i + 5; ++bit) {
            value = 2U * value + ((static_cast<unsigned>(hash[bit / 8]) >> (7U - bit % 8)) & 1U);
        }
        if (i != 0 && i % 4 == 0) text += '-';
        text += letters[value];
    }
    return text;
}

}  // namespace assay::cli
