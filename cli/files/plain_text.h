// Text of users made fit to be shown: nothing invisible, nothing that turns a line around, nothing endless.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace assay::cli {

/// Characters that a reader cannot see, or that change how others are seen (Unicode 15: categories Cc, Cf,
/// Zl, Zp, Co and the fillers, as far as they are in use).
bool is_hidden(char32_t code);

/// Line breaks and tabs become a space; control characters, marks of writing direction, characters without a
/// width and bytes that are not UTF-8 become U+FFFD; what is longer than `most` characters is cut, and says
/// so.
std::string visible_text(std::string_view text, std::size_t most = 400);

/// A file's path, for a message.
std::string visible_path(const std::filesystem::path& path);

/// The same as `visible_text`, cut to `most` characters with an ellipsis only, for labels.
std::string short_text(std::string_view text, std::size_t most);

/// The text as a part of a file's name: letters and digits of ASCII, '-' and '_' stay, and others that are
/// asked for; each other byte becomes '_'. What is longer is cut.
std::string plain_name(std::string_view text, std::size_t most = 100, std::string_view also = {});

/// Columns that a text takes on a terminal: one a character, none for combining marks, two for wide East
/// Asian characters. The text is UTF-8.
std::size_t columns_of(std::string_view text);

/// Lines of at most `columns`, broken at spaces, or inside a word that is longer than a line. At least one
/// line.
std::vector<std::string> wrap(std::string_view text, std::size_t columns);

/// The same text with lines that are longer than `columns` broken at spaces. What follows stands below the
/// start of the last column of the line, or two spaces further in than the line.
std::string broken_to(std::string_view text, std::size_t columns);

/// Of what is printed as a page: half a wide screen.
inline constexpr std::size_t page_columns = 100;

/// The text filled up with spaces; unchanged if it is longer.
std::string padded(std::string text, std::size_t columns);

/// The text in lines of at most `columns`, behind `indent` spaces; the first line begins with `label`
/// instead, filled up to them.
std::string labelled_lines(const std::string& label, std::size_t indent, std::string_view text,
                           std::size_t columns);

}  // namespace assay::cli
