// Characters of a UTF-8 text (RFC 3629): shortest form only, no surrogates, up to U+10FFFF.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace assay::cli {

struct Utf8Character {
    char32_t code = 0;
    std::size_t bytes = 1;  // how far to go on; 1 for an invalid byte
    bool valid = false;
};

/// The character that starts at `position` (which must lie inside the text).
Utf8Character next_character(std::string_view text, std::size_t position);

/// Position of the first byte that is not UTF-8, none if all is well.
std::optional<std::size_t> first_invalid(std::string_view text);

/// Characters, not bytes.
std::size_t character_count(std::string_view text);

/// A to Z made small; other letters stay.
std::string lower_case(std::string_view text);

/// Without blanks and line ends at both ends.
std::string_view trimmed(std::string_view text);

}  // namespace assay::cli
