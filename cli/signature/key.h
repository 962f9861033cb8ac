// The key that signs certificates (Ed25519, RFC 8032), made on first use and kept where only its owner reads.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "capture/fault.h"

namespace assay::cli {

using PublicKey = std::array<std::uint8_t, 32>;
using SignatureBytes = std::array<std::uint8_t, 64>;

struct KeyPair {
    PublicKey public_key{};
    std::array<std::uint8_t, 64> secret{};
};

KeyPair key_from_seed(const std::array<std::uint8_t, 32>& seed);
SignatureBytes sign(const KeyPair& key, std::string_view message);
bool signature_fits(const PublicKey& key, std::string_view message, const SignatureBytes& signature);

/// What people compare when they ask whose key it is.
std::string key_fingerprint(const PublicKey& key);

/// ASSAY_KEY_DIR, or assay/ in XDG_CONFIG_HOME, or ~/.config/assay.
[[nodiscard]] capture::Result<std::filesystem::path> key_folder();

/// The key of this user, made if there is none yet. Faults of kind bad_arguments: no home, a folder that
/// cannot be written to, a key that others may read, a file that is no key.
[[nodiscard]] capture::Result<KeyPair> own_key();
/// The same, but none is made.
[[nodiscard]] capture::Result<std::optional<KeyPair>> existing_key();

}  // namespace assay::cli
