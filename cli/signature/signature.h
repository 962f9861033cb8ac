// `signature.json`: an Ed25519 signature over the contents of a session, and a second one, made last, over
// the pages that were made from them.
//
//   signature        of "assay contents 1\n" and the bytes of contents.json
//   pages_signature  of "assay pages 1\n", the BLAKE2b-256 of contents.json in hexadecimal, "\n", and for
//   each
//                    page its hash, two spaces, its path, "\n"
//
// The pages carry the fingerprints of contents and key, and so are written between the two.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "capture/fault.h"
#include "cli/signature/contents.h"
#include "cli/signature/key.h"

namespace assay::cli {

struct SignatureFile {
    std::string number{};
    std::string contents{};  // BLAKE2b-256 of contents.json, hexadecimal
    PublicKey public_key{};
    SignatureBytes signature{};
    std::vector<FileEntry> pages{};
    SignatureBytes pages_signature{};
};

SignatureFile make_signature(const KeyPair& key, const std::string& number, const std::string& contents_json,
                             std::vector<FileEntry> pages);

std::string signature_text(const SignatureFile& signature);
/// Accepts exactly what `signature_text` gives. Fault of kind verification.
[[nodiscard]] capture::Result<SignatureFile> signature_of_text(const std::string& text,
                                                               const std::string& name);

/// The signature of a session, nothing where it has none.
[[nodiscard]] capture::Result<std::optional<SignatureFile>> read_signature(
    const std::filesystem::path& folder);

bool contents_signature_fits(const SignatureFile& signature, const std::string& contents_json);
bool pages_signature_fits(const SignatureFile& signature);

}  // namespace assay::cli
