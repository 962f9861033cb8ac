#include "cli/files/toml/nearest.h"

#include <algorithm>

#include "cli/files/plain_text.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {
// Longer words are no names that a person mistyped, and the distance takes the product of both lengths.
constexpr std::size_t longest_word = 64;
constexpr std::size_t shortest_beginning = 3;
constexpr std::size_t most_listed = 12;
constexpr std::size_t most_quoted = 60;
}  // namespace

std::size_t edit_distance(std::string_view first, std::string_view second) {
    const std::string a = lower_case(first);
    const std::string b = lower_case(second);
    std::vector<std::size_t> before(b.size() + 1);
    std::vector<std::size_t> last(b.size() + 1);
    std::vector<std::size_t> now(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        now[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const bool same = a[i - 1] == b[j - 1];
            now[j] = std::min({last[j] + 1, now[j - 1] + 1, last[j - 1] + (same ? 0U : 1U)});
            const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
            if (swapped) now[j] = std::min(now[j], before[j - 2] + 1);
        }
        std::swap(before, last);
        std::swap(last, now);
    }
    return last[b.size()];
}

std::optional<std::string> nearest(std::string_view word, std::span<const std::string> candidates) {
    if (word.size() > longest_word) return std::nullopt;
    std::optional<std::string> best;
    std::size_t best_distance = 0;
    for (const std::string& candidate : candidates) {
        if (candidate.size() > longest_word) continue;
        const std::size_t distance = edit_distance(word, candidate);
        const std::size_t allowed = std::max<std::size_t>(1, candidate.size() / 3);
        if (distance > allowed || distance >= std::max(word.size(), candidate.size())) continue;
        if (!best || distance < best_distance) {
            best = candidate;
            best_distance = distance;
        }
    }
    if (best || word.size() < shortest_beginning) return best;
    const auto whole = std::find_if(candidates.begin(), candidates.end(), [&](const std::string& candidate) {
        return lower_case(candidate).starts_with(lower_case(word));
    });
    if (whole != candidates.end()) best = *whole;
    return best;
}

std::string suggestion(std::string_view word, std::span<const std::string> candidates) {
    if (const auto near = nearest(word, candidates)) return "did you mean " + in_quotes(*near) + "?";
    std::string text = "known: ";
    for (std::size_t i = 0; i < candidates.size(); ++i) {
        if (i == most_listed) return text + ", ...";
        if (i > 0) text += ", ";
        text += in_quotes(candidates[i]);
    }
    return candidates.empty() ? "none is known here" : text;
}

std::string in_quotes(std::string_view text) {
    std::string out = "\"";
    std::size_t position = 0;
    std::size_t count = 0;
    while (position < text.size()) {
        if (count++ == most_quoted) {
            out += "...";
            break;
        }
        const Utf8Character c = next_character(text, position);
        if (!c.valid || is_hidden(c.code)) {
            out += '?';
        } else {
            out += text.substr(position, c.bytes);
        }
        position += c.bytes;
    }
    return out + '"';
}

}  // namespace assay::cli
