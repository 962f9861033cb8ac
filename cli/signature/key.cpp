#include "cli/signature/key.h"

#include <sodium.h>

#include <algorithm>
#include <cstdlib>

#include "cli/files/plain_text.h"
#include "cli/files/private_file.h"
#include "cli/signature/hash.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

constexpr std::string_view head = "assay-key-1\n";
constexpr const char* file_name = "signing-key";
constexpr std::size_t seed_bytes = 32;

std::string variable(const char* name) {
    const char* value = std::getenv(name);
    return value != nullptr ? value : "";
}

capture::Result<KeyPair> key_of_text(const std::filesystem::path& file, std::string_view text) {
    const bool ends = text.ends_with('\n');
    const Bytes seed =
        text.starts_with(head) && ends
            ? bytes_from_hex(text.substr(head.size(), text.size() - head.size() - 1), seed_bytes)
            : Bytes{};
    if (seed.empty()) {
        return fail(FaultKind::bad_input_file,
                    visible_text(file.string(), 200) + ": is no key of this program",
                    "put back a copy of the key, or move the file away to have a new one made");
    }
    std::array<std::uint8_t, seed_bytes> plain{};
    std::copy(seed.begin(), seed.end(), plain.begin());
    return key_from_seed(plain);
}

}  // namespace

KeyPair key_from_seed(const std::array<std::uint8_t, seed_bytes>& seed) {
    static_assert(crypto_sign_SECRETKEYBYTES == 64 && crypto_sign_SEEDBYTES == seed_bytes);
    KeyPair key;
    crypto_sign_seed_keypair(key.public_key.data(), key.secret.data(), seed.data());
    return key;
}

SignatureBytes sign(const KeyPair& key, std::string_view message) {
    SignatureBytes signature{};
    crypto_sign_detached(signature.data(), nullptr, reinterpret_cast<const unsigned char*>(message.data()),
                         message.size(), key.secret.data());
    return signature;
}

bool signature_fits(const PublicKey& key, std::string_view message, const SignatureBytes& signature) {
    return crypto_sign_verify_detached(signature.data(),
                                       reinterpret_cast<const unsigned char*>(message.data()), message.size(),
                                       key.data()) == 0;
}

std::string key_fingerprint(const PublicKey& key) {
    const std::string_view text(reinterpret_cast<const char*>(key.data()), key.size());
    return fingerprint(blake2b(text));
}

capture::Result<std::filesystem::path> key_folder() {
    if (const std::string folder = variable("ASSAY_KEY_DIR"); !folder.empty()) return folder;
    if (const std::string folder = variable("XDG_CONFIG_HOME"); !folder.empty()) {
        return std::filesystem::path(folder) / "assay";
    }
    if (const std::string folder = variable("HOME"); !folder.empty()) {
        return std::filesystem::path(folder) / ".config" / "assay";
    }
    return fail(FaultKind::bad_arguments, "there is no folder to keep the signing key in",
                "set ASSAY_KEY_DIR to a folder that only you can read");
}

capture::Result<std::optional<KeyPair>> existing_key() {
    const auto folder = key_folder();
    if (!folder) return tl::unexpected(folder.error());
    const auto text = read_private_file(*folder / file_name);
    if (!text) return tl::unexpected(text.error());
    if (!*text) return std::optional<KeyPair>{};
    const auto key = key_of_text(*folder / file_name, **text);
    if (!key) return tl::unexpected(key.error());
    return std::optional<KeyPair>{*key};
}

capture::Result<KeyPair> own_key() {
    auto found = existing_key();
    if (!found) return tl::unexpected(found.error());
    if (*found) return **found;
    if (sodium_init() < 0)
        return fail(FaultKind::internal, "this computer gives no random numbers for a key");
    std::array<std::uint8_t, seed_bytes> seed{};
    randombytes_buf(seed.data(), seed.size());
    const auto folder = key_folder();
    if (!folder) return tl::unexpected(folder.error());
    std::string text = std::string(head) + hex_text(seed) + "\n";
    const auto written = create_private_file(*folder / file_name, text);
    sodium_memzero(seed.data(), seed.size());
    sodium_memzero(text.data(), text.size());
    if (!written) return tl::unexpected(written.error());
    // Read back: where another run was faster, its key is the one.
    found = existing_key();
    if (!found) return tl::unexpected(found.error());
    if (!*found) return fail(FaultKind::internal, "the signing key vanished while it was made");
    return **found;
}

}  // namespace assay::cli
