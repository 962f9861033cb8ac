// The key on disk: made once, for its owner alone, refused where others may read it.
#include "cli/signature/key.h"

#include <gmock/gmock.h>
#include <sys/stat.h>

#include "support/folder.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;

struct KeyPlace : testing::Test {
    Folder folder{};
    std::filesystem::path place = folder.path / "deep" / "keys";

    void SetUp() override { ::setenv("ASSAY_KEY_DIR", place.c_str(), 1); }
    void TearDown() override { ::unsetenv("ASSAY_KEY_DIR"); }
    static unsigned mode(const std::filesystem::path& path) {
        struct stat found {};
        return ::stat(path.c_str(), &found) == 0 ? found.st_mode & 07777U : 0U;
    }
};

TEST_F(KeyPlace, IsMadeOnFirstUseAndStaysTheSame) {
    const auto none = existing_key();
    ASSERT_TRUE(none);
    EXPECT_FALSE(*none);
    const auto first = own_key();
    ASSERT_TRUE(first) << first.error().text;
    const auto second = own_key();
    ASSERT_TRUE(second);
    EXPECT_EQ(first->public_key, second->public_key);
    EXPECT_EQ(mode(place), 0700U);
    EXPECT_EQ(mode(place / "signing-key"), 0600U);
    int files = 0;
    for (const auto& entry : std::filesystem::directory_iterator(place)) files += entry.is_regular_file();
    EXPECT_EQ(files, 1);
}

TEST_F(KeyPlace, TwoKeysAreTwo) {
    const auto first = own_key();
    ASSERT_TRUE(first);
    std::filesystem::remove(place / "signing-key");
    const auto second = own_key();
    ASSERT_TRUE(second);
    EXPECT_NE(first->public_key, second->public_key);
}

TEST_F(KeyPlace, IsRefusedWhereOthersMayReadIt) {
    ASSERT_TRUE(own_key());
    for (const mode_t wrong : {0640U, 0604U, 0644U, 0660U}) {
        ::chmod((place / "signing-key").c_str(), wrong);
        const auto key = own_key();
        ASSERT_FALSE(key);
        EXPECT_EQ(key.error().kind, capture::FaultKind::bad_arguments);
        EXPECT_THAT(key.error().text, HasSubstr("others may read it"));
        EXPECT_THAT(key.error().mend, HasSubstr("chmod 600"));
    }
    ::chmod((place / "signing-key").c_str(), 0600);
    ASSERT_TRUE(own_key());
    ::chmod(place.c_str(), 0755);
    EXPECT_FALSE(own_key());
    ::chmod(place.c_str(), 0700);
    EXPECT_TRUE(own_key());
}

TEST_F(KeyPlace, ADamagedKeyIsNotWrittenOver) {
    ASSERT_TRUE(own_key());
    const std::string good = folder.read("deep/keys/signing-key");
    for (const std::string& wrong : {std::string{}, good.substr(1), good + "\n", good.substr(0, 40)}) {
        folder.write("deep/keys/signing-key", wrong);
        const auto key = own_key();
        ASSERT_FALSE(key);
        EXPECT_THAT(key.error().text, HasSubstr("is no key"));
        EXPECT_EQ(folder.read("deep/keys/signing-key"), wrong);
    }
}

TEST_F(KeyPlace, ALinkIsNotFollowed) {
    ASSERT_TRUE(own_key());
    std::filesystem::rename(place / "signing-key", folder.path / "elsewhere");
    std::filesystem::create_symlink(folder.path / "elsewhere", place / "signing-key");
    EXPECT_FALSE(own_key());
}

}  // namespace
}  // namespace assay::cli
