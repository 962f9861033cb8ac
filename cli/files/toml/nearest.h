// The word that was probably meant, for the mend of an error.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace assay::cli {

/// Number of letters to insert, drop, replace or swap with a neighbour to get from one word to the other
/// (optimal string alignment distance), upper and lower case taken as equal.
std::size_t edit_distance(std::string_view first, std::string_view second);

/// The candidate that is nearest by edit distance, none if even that needs more than a third of its letters
/// changed. The earlier candidate wins a tie. If none is near, the first that begins with the word: a unit
/// was left out ("gain" for "gain_db").
std::optional<std::string> nearest(std::string_view word, std::span<const std::string> candidates);

/// `did you mean "attenuation"?`, or, when none is near, `known: "name", "channel"` (at most a dozen).
std::string suggestion(std::string_view word, std::span<const std::string> candidates);

/// The text in double quotes, fit for one line: control characters and other invisible ones that could turn a
/// line around are replaced by '?', and what is longer than 60 characters is cut.
std::string in_quotes(std::string_view text);

}  // namespace assay::cli
