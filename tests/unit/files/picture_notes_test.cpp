// Pictures are taken apart with care, whatever they hold: nothing crashes, and what was cleaned is clean.
#include "cli/files/picture/picture_notes.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>
#include <string>

#include "cli/files/picture/exif_orientation.h"

namespace assay::cli {
namespace {

using namespace std::string_literals;
using testing::HasSubstr;
using testing::Not;

/// Segments of ITU-T T.81 in their order; the content of the tables does not matter here.
std::string jpeg() {
    return "\xFF\xD8"s + "\xFF\xE0\x00\x07JFIF\0"s + "\xFF\xE1\x00\x22"s + "Exif\0\0"s +
           orientation_block(6) + "\xFF\xFE\x00\x08secret"s + "\xFF\xDB\x00\x04tt"s + "\xFF\xDA\x00\x03h"s +
           "data\xFF\x00more\xFF\xD0more"s + "\xFF\xC4\x00\x03t"s + "\xFF\xDA\x00\x03h"s + "last" +
           "\xFF\xD9"s + "secret";
}

/// Chunks of ISO/IEC 15948; their checksums are left to whoever draws the picture.
std::string png() {
    return "\x89PNG\r\n\x1A\n"s + "\0\0\0\x02IHDRhhCRC0"s + "\0\0\0\x06tEXtsecretCRC1"s +
           "\0\0\0\x01IDATdCRC2"s + "\0\0\0\0IENDCRC3"s + "secret";
}

TEST(PictureNotes, GoAndThePictureStays) {
    const auto clean = without_notes(jpeg());
    ASSERT_TRUE(clean) << clean.error().text;
    EXPECT_THAT(*clean, Not(HasSubstr("secret")));
    for (const std::string& part :
         {"JFIF"s, "\xFF\xDB\x00\x04tt"s, "data\xFF\x00more\xFF\xD0more"s, "last\xFF\xD9"s})
        EXPECT_THAT(*clean, HasSubstr(part));
    const auto drawn = without_notes(png());
    ASSERT_TRUE(drawn) << drawn.error().text;
    EXPECT_EQ(*drawn,
              "\x89PNG\r\n\x1A\n"s + "\0\0\0\x02IHDRhhCRC0"s + "\0\0\0\x01IDATdCRC2"s + "\0\0\0\0IENDCRC3"s);
}

TEST(PictureNotes, TheSmallCopyInTheFirstSegmentGoesToo) {
    // ITU-T T.871, 10.1: name, version, unit and densities, then a small copy of 2 by 1 pixels.
    const std::string start = "JFIF\0\x01\x02\x01\0\x48\0\x48"s;
    const std::string rest = "\xFF\xDA\x00\x03hdata\xFF\xD9"s;
    const auto clean = without_notes("\xFF\xD8\xFF\xE0\x00\x16"s + start + "\x02\x01secret"s + rest);
    ASSERT_TRUE(clean) << clean.error().text;
    EXPECT_EQ(*clean, "\xFF\xD8\xFF\xE0\x00\x10"s + start + "\0\0"s + rest);
    EXPECT_EQ(*without_notes(*clean), *clean);
}

TEST(PictureNotes, OrientationIsReadInBothByteOrders) {
    for (unsigned way = 1; way <= 8; ++way) EXPECT_EQ(orientation_of(orientation_block(way)), way);
    EXPECT_EQ(orientation_of("II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x05\0\0\0\0\0\0\0"s), 5U);
    EXPECT_EQ(orientation_of("II*\0\xFF\xFF\xFF\xFF\x01\0"s), 1U);
    EXPECT_EQ(orientation_of(orientation_block(9)), 1U);
    EXPECT_EQ(orientation_of(""), 1U);
}

TEST(PictureNotes, TenThousandDamagedPicturesAreRefusedOrClean) {
    std::mt19937 chance(20260314);
    int refused = 0;
    for (int i = 0; i < 10000; ++i) {
        std::string bytes = i % 2 == 0 ? jpeg() : png();
        for (int change = 0; change < 1 + i % 3; ++change)
            bytes[8 + chance() % (bytes.size() - 8)] = static_cast<char>(chance());
        if (i % 5 == 0) bytes.resize(8 + chance() % (bytes.size() - 8));
        const auto clean = without_notes(bytes);
        if (!clean) {
            ++refused;
            continue;
        }
        const auto again = without_notes(*clean);
        ASSERT_TRUE(again) << i;
        ASSERT_EQ(*again, *clean) << i;
    }
    EXPECT_GT(refused, 1000);
    EXPECT_LT(refused, 9000);
}

}  // namespace
}  // namespace assay::cli
