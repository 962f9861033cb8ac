#include "cli/files/toml/toml_tree.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "cli/files/toml/toml_depth.h"
#include "cli/files/utf8.h"
#include "slips.h"

namespace assay::cli {
namespace {

using helpers::expect_well_formed;

std::string fault_of(std::string_view text) {
    const auto result = parse_toml(text, "x.toml");
    if (result) return "";
    expect_well_formed(result.error(), "x.toml");
    return result.error().text;
}

TEST(TomlTree, KeepsTheOrderAndTheLinesOfTheFile) {
    const auto root =
        parse_toml("\xEF\xBB\xBFz = 1\r\na = 2.5\r\n\r\n[t]\r\nb = [true,\r\n 1979-05-27]\r\n", "x.toml");
    ASSERT_TRUE(root.has_value()) << root.error().text;
    ASSERT_EQ(root->entries.size(), 3U);
    EXPECT_EQ(root->entries[0].first, "z");
    EXPECT_EQ(root->key_lines, (std::vector<int>{1, 2, 4}));
    EXPECT_EQ(root->find("z")->number, 1.0);
    EXPECT_EQ(root->find("a")->number, 2.5);
    const TomlNode* list = root->find("t")->find("b");
    ASSERT_EQ(list->items.size(), 2U);
    EXPECT_TRUE(list->items[0].boolean);
    EXPECT_EQ(list->items[1].text, "1979-05-27");
    EXPECT_EQ(list->items[1].line, 6);
    EXPECT_EQ(root->find("none"), nullptr);
}

TEST(TomlTree, SyntaxErrorsNameTheLine) {
    EXPECT_TRUE(fault_of("a = 1\nb = \n").starts_with("x.toml:2: not TOML: "));
    EXPECT_TRUE(fault_of("a = 1\na = 2\n").starts_with("x.toml:2: not TOML: "));
    EXPECT_TRUE(fault_of("\n\nname = \"probe\n").starts_with("x.toml:3: not TOML: "));
    EXPECT_TRUE(fault_of("[sound\n").starts_with("x.toml:1: not TOML: "));
    EXPECT_TRUE(fault_of(std::string("a = 1\n\0b = 2\n", 13)).starts_with("x.toml:2: not TOML: "));
}

TEST(TomlTree, RefusesOtherEncodings) {
    EXPECT_EQ(fault_of("a = 1\nb = \"\xE9\"\n"), "x.toml:2: a byte here is not UTF-8");
    EXPECT_EQ(fault_of(std::string("\xFF\xFE"
                                   "a\0",
                                   4)),
              "x.toml:1: the file is UTF-16");
    EXPECT_EQ(fault_of("\n\n# \xED\xA0\x80"), "x.toml:3: a byte here is not UTF-8");  // a surrogate
    EXPECT_EQ(fault_of("# \xC0\xAF"), "x.toml:1: a byte here is not UTF-8");          // too long a form
}

TEST(TomlTree, RefusesWhatIsTooLarge) {
    EXPECT_TRUE(parse_toml(std::string(largest_toml_file_bytes, '\n'), "x.toml").has_value());
    EXPECT_EQ(fault_of(std::string(largest_toml_file_bytes + 1, '\n')),
              "x.toml:1: the file is larger than 1 MiB");
}

// Each would end a recursive parser or destructor in a stack overflow.
TEST(TomlTree, RefusesWhatIsNestedTooDeep) {
    const std::string deep = "x.toml:2: tables or lists are nested more than 64 deep";
    std::string dotted = "a";
    for (int i = 0; i < 300'000; ++i) dotted += ".a";
    EXPECT_EQ(fault_of("\n[" + dotted + "]\n"), deep);
    EXPECT_EQ(fault_of("\n" + dotted + " = 1\n"), deep);
    EXPECT_EQ(fault_of("\na = {" + dotted + " = 1}\n"), deep);
    EXPECT_EQ(fault_of("\nb = \"\"\"x\"\"\"\"\nc = [" + std::string(500'000, '[') + "\n").substr(0, 9),
              "x.toml:3:");
    EXPECT_EQ(fault_of("\na = " + std::string(500'000, '[') + "\n"), deep);
    EXPECT_EQ(fault_of("\na = " + std::string(65, '[') + std::string(65, ']') + "\n"), deep);
    std::string quoted_keys = "\"a\"";
    for (int i = 0; i < 100'000; ++i) quoted_keys += ".\"a\"";
    EXPECT_EQ(fault_of("\n[" + quoted_keys + "]\n"), deep);
}

TEST(TomlTree, BracketsAndDotsInTextsAndCommentsDoNotNest) {
    const std::string dots(1'000, '.');
    const std::string brackets(1'000, '[');
    EXPECT_EQ(fault_of("a = \"" + dots + brackets + "\" # " + brackets + "\n"), "");
    EXPECT_EQ(fault_of("a = '" + dots + "\\'\nb = \"\\\"" + brackets + "\"\n"), "");
    EXPECT_EQ(fault_of("a = \"\"\"\n" + dots + "\n\"" + brackets + "\"\"\"\"\"\nb = '''" + dots + "'" +
                       brackets + "'''\n"),
              "");
    std::string many;
    for (int i = 0; i < 1'000; ++i) many += "a" + std::to_string(i) + ".b = 1.5\n";
    EXPECT_EQ(fault_of(many), "");
    EXPECT_EQ(line_deeper_than("[[[", 2), 1);
    EXPECT_EQ(line_deeper_than("[[\n]]\n[", 2), std::nullopt);
}

TEST(TomlTree, FilesThatAreNotThere) {
    const auto folder = std::filesystem::temp_directory_path();
    const auto none = read_toml_text(folder / "no-such-file.toml");
    ASSERT_FALSE(none.has_value());
    EXPECT_TRUE(none.error().text.ends_with("no-such-file.toml: there is no such file"));
    EXPECT_EQ(none.error().kind, capture::FaultKind::bad_input_file);
    const auto is_folder = read_toml_text(folder);
    ASSERT_FALSE(is_folder.has_value());
    EXPECT_TRUE(is_folder.error().text.ends_with(": this is a folder, not a file"));
    EXPECT_EQ(read_toml_text("/dev/zero").value().size(), largest_toml_file_bytes + 1);  // and no more
}

TEST(Utf8, CountsCharacters) {
    EXPECT_EQ(character_count("aΩ€😀"), 4U);
    EXPECT_EQ(first_invalid("aΩ€😀"), std::nullopt);
    EXPECT_EQ(first_invalid("ab\xE2\x82"), 2U);
    EXPECT_EQ(first_invalid("\xF4\x90\x80\x80"), 0U);  // past U+10FFFF
    EXPECT_EQ(lower_case("PLAY-Ä9"), "play-Ä9");
}

}  // namespace
}  // namespace assay::cli
