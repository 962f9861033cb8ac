// Bundles: round trip, and 10,000 random mutations of which none goes unnoticed.
#include "cli/signature/bundle.h"

#include <gmock/gmock.h>

#include <random>

#include "cli/signature/contents.h"
#include "cli/signature/hash.h"
#include "cli/signature/signature.h"
#include "cli/signature/ustar.h"
#include "support/folder.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;

KeyPair some_key(std::uint8_t first) {
    return key_from_seed({first, 2, 3});
}

/// A signed folder; what is in the files does not matter to bundle and signature.
void fill(const Folder& folder) {
    folder.write("session.json", "{ \"number\": \"N-1\" }\n");
    folder.write("captures/a.wav", std::string(700, 'w'));
    folder.write("certificate.html", "<p>fingerprint</p>");
    const auto contents = write_contents(folder.path, "N-1");
    ASSERT_TRUE(contents);
    const auto pages = hash_files(folder.path, FilePart::page);
    ASSERT_TRUE(pages);
    folder.write("signature.json", signature_text(make_signature(some_key(1), "N-1", *contents, *pages)));
}

/// Everything that a verification checks short of the numbers, with the key that is expected.
bool whole(const Folder& folder, const PublicKey& key) {
    const auto text = read_whole(folder.path / "contents.json", 100000);
    if (!text) return false;
    const auto contents = contents_of_text(*text, "contents.json");
    const auto signature = read_signature(folder.path);
    const auto files = hash_files(folder.path, FilePart::contents);
    const auto pages = hash_files(folder.path, FilePart::page);
    if (!contents || !signature || !*signature || !files || !pages) return false;
    return (*signature)->public_key == key && contents_signature_fits(**signature, *text) &&
           pages_signature_fits(**signature) && contents->files == *files && (*signature)->pages == *pages;
}

TEST(Bundle, ComesBackAsItWasAndIsTheSameEachTime) {
    const Folder session;
    fill(session);
    const Folder out;
    const auto first = out.path / "one.tar";
    const auto second = out.path / "two.tar";
    ASSERT_TRUE(write_bundle(session.path, "N-1", first));
    ASSERT_TRUE(write_bundle(session.path, "N-1", second));
    EXPECT_EQ(out.read("one.tar"), out.read("two.tar"));
    const Folder back;
    ASSERT_TRUE(unpack_bundle(first, back.path));
    for (const char* file :
         {"session.json", "captures/a.wav", "certificate.html", "contents.json", "signature.json"})
        EXPECT_EQ(back.read(file), session.read(file)) << file;
    EXPECT_TRUE(whole(back, some_key(1).public_key));
    EXPECT_FALSE(whole(back, some_key(7).public_key));
}

TEST(Bundle, NoneOfTenThousandMutationsGoesUnnoticed) {
    const Folder session;
    fill(session);
    const Folder out;
    const auto file = out.path / "mutated.tar";
    ASSERT_TRUE(write_bundle(session.path, "N-1", file));
    const std::string original = out.read("mutated.tar");
    const PublicKey key = some_key(1).public_key;
    std::mt19937 random(20260311);
    const auto below = [&](std::size_t end) {
        return std::uniform_int_distribution<std::size_t>(0, end - 1)(random);
    };
    int refused = 0;
    int found_later = 0;
    const Folder back;
    for (int trial = 0; trial < 10000; ++trial) {
        std::string text = original;
        const std::size_t at = below(text.size());
        switch (below(6)) {
            case 0:
                text[at] = static_cast<char>(text[at] ^ (1 << below(8)));
                break;
            case 1:
                text.resize(at);
                break;
            case 2:
                text.insert(at, 1 + below(600), static_cast<char>(below(256)));
                break;
            case 3:
                text.erase(at, 1 + below(600));
                break;
            case 4:  // one block over another
                text.replace(512 * (at / 512), 512, original, 512 * below(text.size() / 512), 512);
                break;
            default:
                for (int i = 0; i < 4; ++i) text[below(text.size())] = static_cast<char>(below(256));
        }
        if (text == original) continue;
        out.write("mutated.tar", text);
        for (const auto& entry : std::filesystem::directory_iterator(back.path))
            std::filesystem::remove_all(entry.path());
        if (!unpack_bundle(file, back.path)) {
            ++refused;
            continue;
        }
        ++found_later;
        ASSERT_FALSE(whole(back, key)) << "trial " << trial;
    }
    std::printf("%d refused as archives, %d found by hash or signature\n", refused, found_later);
    EXPECT_GT(refused, 1000);
    EXPECT_GT(found_later, 100);
}

TEST(Bundle, NothingIsWrittenOutsideTheFolder) {
    for (const char* path :
         {"assay-N/../../escaped", "/assay-N/escaped", "assay-N/a/../../../escaped", "assay-N/./escaped",
          "assay-N//escaped", "escaped", "other/escaped", "assay-N/.hidden", "assay-N/a\\b", "assay-N/c:d",
          "assay-N/new\nline", "assay-N/\xff", "assay-N/"}) {
        const Folder out;
        const auto header = ustar_header({path, 4});
        ASSERT_TRUE(header) << path;
        out.write("bad.tar",
                  std::string(header->data(), header->size()) + "evil" + std::string(508 + 1024, '\0'));
        std::filesystem::create_directories(out.path / "deep/er/into");
        const auto done = unpack_bundle(out.path / "bad.tar", out.path / "deep/er/into");
        ASSERT_FALSE(done) << path;
        EXPECT_EQ(done.error().kind, capture::FaultKind::verification) << path;
        int files = 0;
        for (const auto& entry : std::filesystem::recursive_directory_iterator(out.path))
            files += entry.is_regular_file();
        EXPECT_EQ(files, 1) << path;
    }
}

TEST(Bundle, AnotherFileIsNotCalledADamagedBundle) {
    const Folder out;
    for (const std::string& text :
         {std::string{}, std::string("[unit]\nkind = \"amplifier\"\n"), std::string(5000, '{')}) {
        out.write("job.toml", text);
        const auto done = unpack_bundle(out.path / "job.toml", out.path);
        ASSERT_FALSE(done);
        EXPECT_EQ(done.error().kind, capture::FaultKind::verification);
        EXPECT_THAT(done.error().text, HasSubstr("neither a session's folder nor a bundle"));
        EXPECT_THAT(done.error().text, Not(HasSubstr("damaged")));
    }
}

TEST(Bundle, OneNameForAFileAndAFolderIsRefused) {
    using Paths = std::vector<const char*>;
    for (const Paths& paths : {Paths{"assay-N/a", "assay-N/a/b"}, Paths{"assay-N/a", "assay-N/a/b/c"},
                               Paths{"assay-N/a/b", "assay-N/a"}}) {
        const Folder out;
        std::string archive;
        for (const char* path : paths) {
            const auto header = ustar_header({path, 1});
            archive += std::string(header->data(), header->size()) + "x" + std::string(511, '\0');
        }
        out.write("bad.tar", archive + std::string(1024, '\0'));
        std::filesystem::create_directories(out.path / "into");
        const auto done = unpack_bundle(out.path / "bad.tar", out.path / "into");
        ASSERT_FALSE(done) << paths[1];
        EXPECT_EQ(done.error().kind, capture::FaultKind::verification) << done.error().text;
        EXPECT_NE(done.error().text.find("a file and a folder of one name"), std::string::npos)
            << done.error().text;
    }
}

TEST(Bundle, LinksDevicesAndForeignHeadersAreRefused) {
    const auto plain = ustar_header({"assay-N/session.json", 0});
    ASSERT_TRUE(plain);
    for (const char type : {'1', '2', '3', '4', '5', '6', '7', 'x', 'g', 'L', '\0'}) {
        UstarBlock block = *plain;
        block[156] = type;
        unsigned sum = 0;
        for (std::size_t i = 0; i < block.size(); ++i) {
            sum += i >= 148 && i < 156 ? 32U : static_cast<unsigned char>(block[i]);
        }
        std::snprintf(block.data() + 148, 8, "%06o", sum);
        block[155] = ' ';
        EXPECT_FALSE(ustar_entry(block)) << type;
    }
    EXPECT_TRUE(ustar_entry(*plain));
}

TEST(Ustar, LongNamesAreSplitAtASlashAndTooLongOnesRefused) {
    const std::string deep = "assay-N/captures/" + std::string(95, 'x') + ".wav";
    const auto header = ustar_header({deep, 8});
    ASSERT_TRUE(header);
    EXPECT_EQ(ustar_entry(*header)->path, deep);
    EXPECT_FALSE(ustar_header({"assay-N/" + std::string(101, 'x'), 8}));
    EXPECT_FALSE(ustar_header({"a", std::uintmax_t{1} << 33U}));
}

TEST(Contents, TellsWhichFileWasTouched) {
    const Folder session;
    fill(session);
    const auto listed = hash_files(session.path, FilePart::contents);
    ASSERT_TRUE(listed);
    session.write("captures/a.wav", std::string(699, 'w') + "v");
    session.write("captures/b.wav", "new");
    std::filesystem::remove(session.path / "session.json");
    const auto troubles = compare_files(*listed, *hash_files(session.path, FilePart::contents));
    ASSERT_EQ(troubles.size(), 3U);
    EXPECT_EQ(troubles[0].path, "captures/a.wav");
    EXPECT_THAT(troubles[0].what, HasSubstr("was changed"));
    EXPECT_EQ(troubles[1].path, "session.json");
    EXPECT_THAT(troubles[1].what, HasSubstr("missing"));
    EXPECT_EQ(troubles[2].path, "captures/b.wav");
    EXPECT_TRUE(troubles[2].added);
}

TEST(Contents, ALinkIsNoFile) {
    const Folder session;
    fill(session);
    std::filesystem::create_symlink("/etc/hostname", session.path / "captures/link.wav");
    const auto found = hash_files(session.path, FilePart::contents);
    ASSERT_FALSE(found);
    EXPECT_THAT(found.error().text, HasSubstr("link.wav"));
}

}  // namespace
}  // namespace assay::cli
