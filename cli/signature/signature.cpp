#include "cli/signature/signature.h"

#include <algorithm>

#include "cli/files/plain_text.h"
#include "cli/files/session/session_describe.h"
#include "cli/signature/file_entry_json.h"
#include "cli/signature/hash.h"

namespace assay::cli {

namespace {

constexpr const char* signature_schema = "assay-signature-1";
constexpr std::size_t most_signature_bytes = std::size_t{1} << 20U;

std::string contents_message(const std::string& contents_json) {
    return "assay contents 1\n" + contents_json;
}

std::string pages_message(const std::string& contents, const std::vector<FileEntry>& pages) {
    std::string message = "assay pages 1\n" + contents + "\n";
    for (const FileEntry& page : pages) message += page.blake2b + "  " + page.path + "\n";
    return message;
}

template <std::size_t size>
bool take_hex(const std::string& text, std::array<std::uint8_t, size>& out) {
    const Bytes bytes = bytes_from_hex(text, size);
    if (bytes.empty()) return false;
    std::copy(bytes.begin(), bytes.end(), out.begin());
    return true;
}

}  // namespace

SignatureFile make_signature(const KeyPair& key, const std::string& number, const std::string& contents_json,
                             std::vector<FileEntry> pages) {
    SignatureFile made;
    made.number = number;
    made.contents = hash_text(contents_json);
    made.public_key = key.public_key;
    made.signature = sign(key, contents_message(contents_json));
    made.pages = std::move(pages);
    made.pages_signature = sign(key, pages_message(made.contents, made.pages));
    return made;
}

std::string signature_text(const SignatureFile& signature) {
    return json_text(json_of([&](JsonWriter& archive) {
        archive.field("schema", std::string(signature_schema));
        archive.field("number", signature.number);
        archive.field("contents", signature.contents);
        archive.field("algorithm", std::string("Ed25519 (RFC 8032)"));
        archive.field("public_key", hex_text(signature.public_key));
        archive.field("key_fingerprint", key_fingerprint(signature.public_key));
        archive.field("signature", hex_text(signature.signature));
        archive.field("pages", signature.pages);
        archive.field("pages_signature", hex_text(signature.pages_signature));
    }));
}

capture::Result<SignatureFile> signature_of_text(const std::string& text, const std::string& name) {
    SignatureFile read;
    std::string key;
    std::string signature;
    std::string pages_signature;
    try {
        const Json document = Json::parse(text);
        Trouble trouble;
        const Place root{};
        JsonReader archive(document, root, trouble);
        archive.field("number", read.number);
        archive.field("contents", read.contents);
        archive.field("public_key", key);
        archive.field("signature", signature);
        archive.field("pages", read.pages);
        archive.field("pages_signature", pages_signature);
        if (trouble.first) return damaged(name, *trouble.first);
    } catch (const Json::exception&) {
        return damaged(name, "is not JSON");
    }
    if (!take_hex(key, read.public_key) || !take_hex(signature, read.signature) ||
        !take_hex(pages_signature, read.pages_signature)) {
        return damaged(name, "its key or a signature is none");
    }
    for (const FileEntry& page : read.pages) {
        if (!is_safe_path(page.path) || part_of(page.path) != FilePart::page) {
            return damaged(name, "names a page that is none: \"" + visible_text(page.path, 80) + "\"");
        }
    }
    if (signature_text(read) != text) return damaged(name, "is not as the program writes it");
    return read;
}

capture::Result<std::optional<SignatureFile>> read_signature(const std::filesystem::path& folder) {
    const std::filesystem::path file = folder / "signature.json";
    std::error_code error;
    if (!std::filesystem::exists(std::filesystem::symlink_status(file, error))) {
        return std::optional<SignatureFile>{};
    }
    const auto text = read_whole(file, most_signature_bytes);
    if (!text) return tl::unexpected(text.error());
    auto read = signature_of_text(*text, file.string());
    if (!read) return tl::unexpected(read.error());
    return std::optional<SignatureFile>{std::move(*read)};
}

bool contents_signature_fits(const SignatureFile& signature, const std::string& contents_json) {
    return signature.contents == hash_text(contents_json) &&
           signature_fits(signature.public_key, contents_message(contents_json), signature.signature);
}

bool pages_signature_fits(const SignatureFile& signature) {
    return signature_fits(signature.public_key, pages_message(signature.contents, signature.pages),
                          signature.pages_signature);
}

}  // namespace assay::cli
