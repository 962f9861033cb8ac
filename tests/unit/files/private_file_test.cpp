// A key that could not be written whole is not said to be written.
#include "cli/files/private_file.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <csignal>

#include "support/folder.h"

namespace assay::cli {
namespace {

/// For as long as it lives no file grows beyond so many bytes, as on a disk that is nearly full.
struct SmallFiles {
    rlimit before{};
    explicit SmallFiles(rlim_t most_bytes) {
        ::signal(SIGXFSZ, SIG_IGN);
        ::getrlimit(RLIMIT_FSIZE, &before);
        const rlimit small{most_bytes, before.rlim_max};
        ::setrlimit(RLIMIT_FSIZE, &small);
    }
    ~SmallFiles() {
        ::setrlimit(RLIMIT_FSIZE, &before);
        ::signal(SIGXFSZ, SIG_DFL);
    }
    SmallFiles(const SmallFiles&) = delete;
    SmallFiles& operator=(const SmallFiles&) = delete;
};

TEST(PrivateFile, IsThereWholeOrIsAFault) {
    const Folder folder;
    const auto file = folder.path / "keys" / "key";
    {
        const SmallFiles small(10);
        errno = 0;
        EXPECT_FALSE(create_private_file(file, "twenty-five letters in all"));
    }
    EXPECT_FALSE(std::filesystem::exists(file));
    EXPECT_TRUE(std::filesystem::is_empty(folder.path / "keys"));
    ASSERT_TRUE(create_private_file(file, "short"));
    EXPECT_EQ(folder.read("keys/key"), "short");
}

}  // namespace
}  // namespace assay::cli
