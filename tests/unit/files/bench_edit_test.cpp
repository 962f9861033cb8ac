// A bench file that a calibration changes: names in any letters, and tables that cannot be changed line by
// line.
#include "cli/files/bench/bench_edit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/folder.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;

constexpr const char* bench_head = "[sound]\nsample_rate_hz = 96000\n\n";

std::string edited(const std::string& text, const BenchEdits& edits) {
    const Folder folder;
    folder.write("bench.toml", text);
    const auto done = edit_bench(folder.path / "bench.toml", "input", "sonde", edits);
    return done ? *done : done.error().text + " | " + done.error().mend;
}

TEST(BenchEdit, ReplacesValuesInLettersOfMoreThanOneByte) {
    const std::string start = bench_head + std::string("[[input]]\nname = \"sonde\"\nmeter = ");
    EXPECT_EQ(edited(start + "\"Prüfgerät Ω\"  # aus der Küche\n", {{"meter", "\"plain\""}}),
              start + "\"plain\"  # aus der Küche\n");
    EXPECT_EQ(edited(start + "\"plain\"\n", {{"meter", "\"Prüfgerät\""}}), start + "\"Prüfgerät\"\n");
}

TEST(BenchEdit, LineEndsStayAsTheyAre) {
    EXPECT_EQ(
        edited("[[input]]\r\nname = \"sonde\"\r\nchannel = 1\r\n", {{"channel", "2"}, {"meter", "\"m\""}}),
        "[[input]]\r\nname = \"sonde\"\r\nmeter = \"m\"\r\nchannel = 2\r\n");
}

TEST(BenchEdit, RefusesATableThatStandsInOneLine) {
    const std::string text = "input = [{ name = \"sonde\", channel = 1, attenuation = 12 }]\n";
    const std::string said = edited(text, {{"channel", "2"}, {"meter", "\"m\""}});
    EXPECT_THAT(said, HasSubstr("bench.toml:1: input \"sonde\" stands in one line"));
    EXPECT_THAT(said, HasSubstr("| write it as [[input]], with a line for each key"));
}

TEST(BenchEdit, SaysWhichFileOrPartIsNotThere) {
    EXPECT_THAT(edit_bench("nowhere/bench.toml", "input", "sonde", {}).error().text,
                HasSubstr("there is no such file"));
    EXPECT_THAT(edited(bench_head, {{"channel", "2"}}), HasSubstr("no [[input]] named \"sonde\""));
}

}  // namespace
}  // namespace assay::cli
