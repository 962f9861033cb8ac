#include "cli/files/plain_text.h"

#include <algorithm>
#include <array>
#include <utility>

#include "cli/files/utf8.h"

namespace assay::cli {
namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";  // U+FFFD

template <std::size_t size>
bool in_ranges(char32_t code, const std::array<std::pair<char32_t, char32_t>, size>& ranges) {
    for (const auto& [first, last] : ranges) {
        if (code >= first && code <= last) return true;
    }
    return false;
}

bool is_combining(char32_t code) {
    constexpr std::array<std::pair<char32_t, char32_t>, 6> ranges{{{0x300, 0x36F},
                                                                   {0x483, 0x489},
                                                                   {0x1AB0, 0x1AFF},
                                                                   {0x1DC0, 0x1DFF},
                                                                   {0x20D0, 0x20FF},
                                                                   {0xFE20, 0xFE2F}}};
    return in_ranges(code, ranges);
}

bool is_wide(char32_t code) {
    constexpr std::array<std::pair<char32_t, char32_t>, 7> ranges{{{0x1100, 0x115F},
                                                                   {0x2E80, 0xA4CF},
                                                                   {0xAC00, 0xD7A3},
                                                                   {0xF900, 0xFAFF},
                                                                   {0xFE30, 0xFE6F},
                                                                   {0xFF00, 0xFF60},
                                                                   {0x1F300, 0x1FAFF}}};
    return in_ranges(code, ranges);
}

std::size_t width_of(char32_t code) {
    if (is_combining(code)) return 0;
    return is_wide(code) ? 2 : 1;
}

/// Splits one word that is longer than a line.
std::vector<std::string> pieces_of(std::string_view word, std::size_t columns) {
    std::vector<std::string> pieces{{}};
    std::size_t used = 0;
    for (std::size_t at = 0; at < word.size();) {
        const Utf8Character character = next_character(word, at);
        const std::size_t width = character.valid ? width_of(character.code) : 1;
        if (used > 0 && used + width > columns) {
            pieces.emplace_back();
            used = 0;
        }
        pieces.back().append(word.substr(at, character.bytes));
        used += width;
        at += character.bytes;
    }
    return pieces;
}

/// Words between spaces; what belongs to the number before it ("%", "W", "± 1.4 W") stays with it.
std::vector<std::string> words_of(std::string_view text) {
    std::vector<std::string> words;
    for (std::size_t at = 0; at <= text.size();) {
        const std::size_t space = std::min(text.find(' ', at), text.size());
        const std::string word(text.substr(at, space - at));
        at = space + 1;
        if (word.empty()) continue;
        const std::string_view before = words.empty() ? std::string_view{} : words.back();
        const bool after_number = !before.empty() && before.back() >= '0' && before.back() <= '9';
        const std::string_view bare = word.find_last_of(";,") == word.size() - 1
                                          ? std::string_view(word).substr(0, word.size() - 1)
                                          : std::string_view(word);
        const bool unit = bare == "±" || bare == "%" || bare == "W" || bare == "V" || bare == "Ω" ||
                          bare == "Hz" || bare == "dB" || bare == "ppm" || bare == "°C";
        if ((after_number && unit) || before.ends_with("±")) {
            words.back() += ' ' + word;
        } else {
            words.push_back(word);
        }
    }
    return words;
}

}  // namespace

bool is_hidden(char32_t code) {
    constexpr std::array<std::pair<char32_t, char32_t>, 17> ranges{{
        {0x00, 0x1F},
        {0x7F, 0x9F},
        {0xAD, 0xAD},
        {0x34F, 0x34F},
        {0x61C, 0x61C},
        {0x115F, 0x1160},
        {0x17B4, 0x17B5},
        {0x180B, 0x180F},
        {0x200B, 0x200F},
        {0x2028, 0x202E},
        {0x2060, 0x206F},
        {0x3164, 0x3164},
        {0xE000, 0xF8FF},
        {0xFE00, 0xFE0F},
        {0xFEFF, 0xFEFF},
        {0xFFF0, 0xFFFB},
        {0xE0000, 0x10FFFF},
    }};
    return in_ranges(code, ranges);
}

std::string visible_text(std::string_view text, std::size_t most) {
    std::string shown;
    std::size_t count = 0;
    std::size_t marks = 0;  // a heap of combining marks on one letter would cover the lines around it
    std::size_t at = 0;
    for (; at < text.size() && count < most; ++count) {
        const Utf8Character character = next_character(text, at);
        marks = character.valid && is_combining(character.code) ? marks + 1 : 0;
        if (character.valid && (character.code == '\n' || character.code == '\r' || character.code == '\t')) {
            shown += ' ';
        } else if (!character.valid || is_hidden(character.code) || marks > 2) {
            shown += replacement;
        } else {
            shown += text.substr(at, character.bytes);
        }
        at += character.bytes;
    }
    if (at < text.size()) {
        shown += " … (" + std::to_string(character_count(text.substr(at))) + " more characters)";
    }
    return shown;
}

std::string visible_path(const std::filesystem::path& path) {
    return visible_text(path.string(), 200);
}

std::string short_text(std::string_view text, std::size_t most) {
    std::size_t end = 0;
    for (std::size_t count = 0; end < text.size() && count < most; ++count)
        end += next_character(text, end).bytes;
    return visible_text(text.substr(0, end)) + (end < text.size() ? "…" : "");
}

std::string plain_name(std::string_view text, std::size_t most, std::string_view also) {
    std::string name;
    for (const char letter : text.substr(0, most)) {
        const bool kept = (letter >= '0' && letter <= '9') || (letter >= 'A' && letter <= 'Z') ||
                          (letter >= 'a' && letter <= 'z') || letter == '-' || letter == '_' ||
                          also.find(letter) != std::string_view::npos;
        name += kept ? letter : '_';
    }
    return name;
}

std::size_t columns_of(std::string_view text) {
    std::size_t columns = 0;
    for (std::size_t at = 0; at < text.size();) {
        const Utf8Character character = next_character(text, at);
        columns += character.valid ? width_of(character.code) : 1;
        at += character.bytes;
    }
    return columns;
}

std::vector<std::string> wrap(std::string_view text, std::size_t columns) {
    std::vector<std::string> lines{{}};
    std::size_t used = 0;
    for (const std::string& word : words_of(text)) {
        for (const std::string& piece : pieces_of(word, columns)) {
            const std::size_t width = columns_of(piece);
            if (used > 0 && used + 1 + width > columns) {
                lines.emplace_back();
                used = 0;
            }
            if (used > 0) {
                lines.back() += ' ';
                ++used;
            }
            lines.back() += piece;
            used += width;
        }
    }
    return lines;
}

namespace {

/// Where the lines below a long one begin.
std::size_t hanging_indent(std::string_view line, std::size_t columns) {
    const std::size_t begins = std::min(line.find_first_not_of(' '), line.size());
    std::size_t hang = begins + 2;
    for (std::size_t k = begins; k + 2 < line.size() && k < columns * 2 / 3; ++k) {
        if (line[k] == ' ' && line[k + 1] == ' ' && line[k + 2] != ' ') hang = k + 2;
    }
    return std::min(hang, columns / 2);
}

}  // namespace

std::string broken_to(std::string_view text, std::size_t columns) {
    std::string broken;
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        std::string line(text.substr(0, end));
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
        const std::size_t hang = hanging_indent(line, columns);
        while (columns_of(line) > columns) {
            std::size_t cut = line.size();  // the last space at which what stands before it has room
            for (std::size_t k = hang + 1;
                 k < line.size() && (cut == line.size() || columns_of(line.substr(0, k)) <= columns); ++k) {
                if (line[k] == ' ') cut = k;
            }
            if (cut == line.size()) break;
            broken += line.substr(0, cut) + '\n';
            line =
                std::string(hang, ' ') + line.substr(std::min(line.find_first_not_of(' ', cut), line.size()));
        }
        broken += line;
        if (end != std::string_view::npos) broken += '\n';
    }
    return broken;
}

std::string padded(std::string text, std::size_t columns) {
    const std::size_t used = columns_of(text);
    if (used < columns) text.append(columns - used, ' ');
    return text;
}

std::string labelled_lines(const std::string& label, std::size_t indent, std::string_view text,
                           std::size_t columns) {
    std::string out;
    bool first = true;
    for (const std::string& line : wrap(text, columns - indent)) {
        out += (first ? padded(label, indent) : std::string(indent, ' ')) + line + '\n';
        first = false;
    }
    return out;
}

}  // namespace assay::cli
