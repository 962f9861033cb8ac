#include "cli/files/utf8.h"

namespace assay::cli {

Utf8Character next_character(std::string_view text, std::size_t position) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    const unsigned char first = byte(position);
    if (first < 0x80) return {first, 1, true};
    std::size_t length = 0;
    char32_t code = 0;
    char32_t least = 0;  // a longer form of a smaller character is not allowed
    if (first >= 0xC2 && first < 0xE0) {
        length = 2;
        code = first & 0x1FU;
        least = 0x80;
    } else if (first >= 0xE0 && first < 0xF0) {
        length = 3;
        code = first & 0x0FU;
        least = 0x800;
    } else if (first >= 0xF0 && first < 0xF5) {
        length = 4;
        code = first & 0x07U;
        least = 0x10000;
    } else {
        return {};
    }
    if (position + length > text.size()) return {};
    for (std::size_t i = 1; i < length; ++i) {
        const unsigned char next = byte(position + i);
        if ((next & 0xC0U) != 0x80U) return {};
        code = (code << 6U) | (next & 0x3FU);
    }
    const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
    if (code < least || code > 0x10FFFF || surrogate) return {};
    return {code, length, true};
}

std::optional<std::size_t> first_invalid(std::string_view text) {
    std::size_t position = 0;
    while (position < text.size()) {
        const Utf8Character c = next_character(text, position);
        if (!c.valid) return position;
        position += c.bytes;
    }
    return std::nullopt;
}

std::size_t character_count(std::string_view text) {
    std::size_t position = 0;
    std::size_t count = 0;
    for (; position < text.size(); ++count) position += next_character(text, position).bytes;
    return count;
}

std::string lower_case(std::string_view text) {
    std::string out(text);
    for (char& c : out) {
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    }
    return out;
}

std::string_view trimmed(std::string_view text) {
    constexpr std::string_view blank = " \t\r\n\f\v";
    const std::size_t first = text.find_first_not_of(blank);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(blank) - first + 1);
}

}  // namespace assay::cli
