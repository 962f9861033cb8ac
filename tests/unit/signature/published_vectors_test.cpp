// BLAKE2b and Ed25519 against the vectors that their standards publish (the first, written from memory, was
// confirmed by the hashlib of Python).
#include <gtest/gtest.h>

#include <algorithm>

#include "cli/signature/hash.h"
#include "cli/signature/key.h"

namespace assay::cli {
namespace {

std::string text_of(const Bytes& bytes) {
    return {bytes.begin(), bytes.end()};
}

TEST(Blake2b, OfAbcIsThatOfRfc7693AppendixA) {
    EXPECT_EQ(hex_text(blake2b("abc", 64)),
              "ba80a53f981c4d0d6a2797b69f12f6e94c212f14685ac4b74b12bb6fdbffa2d1"
              "7d87c5392aab792dc252d5de4533cc9518d38aa8dbf1925ab92386edd4009923");
}

/// RFC 7693, appendix E: a deterministic sequence.
std::string sequence(std::size_t length, std::uint32_t seed) {
    std::string out;
    std::uint32_t a = 0xDEAD4BADU * seed;
    std::uint32_t b = 1;
    for (std::size_t i = 0; i < length; ++i) {
        const std::uint32_t t = a + b;
        a = b;
        b = t;
        out += static_cast<char>(static_cast<unsigned char>(t >> 24U));
    }
    return out;
}

TEST(Blake2b, PassesTheGrandHashOfRfc7693AppendixE) {
    std::string all;
    for (const std::size_t size : {20U, 32U, 48U, 64U}) {
        for (const std::size_t length : {0U, 3U, 128U, 129U, 255U, 1024U}) {
            const std::string message = sequence(length, static_cast<std::uint32_t>(length));
            all += text_of(blake2b(message, size));
            all += text_of(blake2b(message, size, sequence(size, static_cast<std::uint32_t>(size))));
        }
    }
    EXPECT_EQ(hex_text(blake2b(all, 32)), "c23a7800d98123bd10f506c61e29da5603d763b8bbad2e737f5e765a7bccd475");
}

struct Vector {
    const char* seed;
    const char* public_key;
    const char* message;
    const char* signature;
};
// RFC 8032, 7.1, tests 1 to 3.
constexpr std::array<Vector, 3> vectors{
    {{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
      "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
      "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5"
      "f0595bbe"
      "24655141438e7a100b"},
     {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
      "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
      "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2e"
      "aeb4302a"
      "eeb00d291612bb0c00"},
     {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
      "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
      "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15"
      "e9716ed2"
      "8dc027beceea1ec40a"}}};

TEST(Ed25519, SignsAsRfc8032Does) {
    for (const Vector& vector : vectors) {
        std::array<std::uint8_t, 32> seed{};
        const Bytes bytes = bytes_from_hex(vector.seed, 32);
        std::copy(bytes.begin(), bytes.end(), seed.begin());
        const KeyPair key = key_from_seed(seed);
        EXPECT_EQ(hex_text(key.public_key), vector.public_key);
        const std::string hex = vector.message;
        const std::string message = text_of(bytes_from_hex(hex, hex.size() / 2));
        SignatureBytes signature = sign(key, message);
        EXPECT_EQ(hex_text(signature), vector.signature);
        EXPECT_TRUE(signature_fits(key.public_key, message, signature));
        EXPECT_FALSE(signature_fits(key.public_key, message + "x", signature));
        for (std::uint8_t& byte : signature) {
            byte ^= 1U;
            EXPECT_FALSE(signature_fits(key.public_key, message, signature));
            byte ^= 1U;
        }
    }
}

TEST(Fingerprint, IsTheFirst120BitsInBase32) {
    // Worked by hand: five bits a symbol, most significant first; 0x00 0x44 0x32 ... is 0 1 2 3 ...
    Bytes counting;
    unsigned bits = 0;
    unsigned value = 0;
    for (unsigned symbol = 0; symbol < 32; ++symbol) {
        value = value << 5U | symbol;
        bits += 5;
        while (bits >= 8) {
            counting.push_back(static_cast<std::uint8_t>(value >> (bits - 8) & 0xFFU));
            bits -= 8;
        }
    }
    EXPECT_EQ(fingerprint(counting), "0123-4567-89AB-CDEF-GHJK-MNPQ");
}

TEST(Hex, TakesNothingButSmallDigitsOfTheRightNumber) {
    EXPECT_EQ(bytes_from_hex("00ff", 2), (Bytes{0, 255}));
    for (const char* wrong : {"", "00f", "00fg", "00FF", "00ff00", "0 ff"})
        EXPECT_TRUE(bytes_from_hex(wrong, 2).empty());
}

}  // namespace
}  // namespace assay::cli
