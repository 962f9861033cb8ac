#include "cli/files/toml/nearest.h"

#include <gtest/gtest.h>

namespace assay::cli {
namespace {

// Distances counted by hand.
TEST(Nearest, CountsLettersToChange) {
    EXPECT_EQ(edit_distance("", ""), 0U);
    EXPECT_EQ(edit_distance("abc", ""), 3U);
    EXPECT_EQ(edit_distance("kitten", "sitting"), 3U);
    EXPECT_EQ(edit_distance("channel", "chanel"), 1U);
    EXPECT_EQ(edit_distance("channel", "hcannel"), 1U);  // two neighbours swapped
    EXPECT_EQ(edit_distance("Channel", "cHANNEL"), 0U);
    EXPECT_EQ(edit_distance("ca", "abc"), 3U);  // 2 with swaps edited again; this distance does not do that
}

TEST(Nearest, NamesOnlyWhatIsNear) {
    const std::vector<std::string> known{"name", "channel", "attenuation", "volts_at_full_scale"};
    EXPECT_EQ(nearest("atenuation", known), "attenuation");
    EXPECT_EQ(nearest("volts_at_fullscale", known), "volts_at_full_scale");
    EXPECT_EQ(nearest("volts", known), "volts_at_full_scale");  // the rest was left out
    EXPECT_EQ(nearest("vo", known), std::nullopt);
    EXPECT_EQ(nearest("colour", known), std::nullopt);
    EXPECT_EQ(nearest("", known), std::nullopt);
    EXPECT_EQ(nearest(std::string(100'000, 'a'), known), std::nullopt);
    EXPECT_EQ(suggestion("chanel", known), "did you mean \"channel\"?");
    EXPECT_EQ(suggestion("colour", known),
              "known: \"name\", \"channel\", \"attenuation\", \"volts_at_full_scale\"");
    EXPECT_EQ(suggestion("x", std::vector<std::string>{}), "none is known here");
    EXPECT_EQ(suggestion("q", std::vector<std::string>(20, "word")).substr(0, 15), "known: \"word\", ");
    EXPECT_TRUE(suggestion("q", std::vector<std::string>(20, "word")).ends_with(", ..."));
}

TEST(Nearest, QuotesForOneLine) {
    EXPECT_EQ(in_quotes("probe-a"), "\"probe-a\"");
    EXPECT_EQ(in_quotes("Größe Ω"), "\"Größe Ω\"");
    EXPECT_EQ(in_quotes("a\nb\tc\x7F"), "\"a?b?c?\"");
    EXPECT_EQ(in_quotes("a\u202Eb"), "\"a?b\"");  // would write what follows from right to left
    EXPECT_EQ(in_quotes("\xFF"), "\"?\"");
    EXPECT_EQ(in_quotes(std::string(100, 'x')), "\"" + std::string(60, 'x') + "...\"");
}

}  // namespace
}  // namespace assay::cli
